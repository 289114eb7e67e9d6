// What receiving finds of fish, worked out without signal by the rules of the house: one
// rule a function, under the name it has there, each passed, failed, not set or not known.
// What is not set is never passed. An answer that cannot stand is refused at the dock, and
// not when there is signal again; the house judges all of it once more. Local codes and
// trained people come first.
"use strict";

const received = (() => {
  const { Refused, scaled } = typeof module === "undefined" ? price : require("./price.js");
  const [PASSED, FAILED, NOT_SET, NOT_KNOWN] = [1, 2, 3, 4];
  const [LENGTH, SEASON, TRIP, AREA, COLD, PROBES, HISTAMINE] = [1, 2, 3, 4, 5, 6, 7];
  const [ACCEPT, REFUSE] = ["1", "3"];
  const [A_DAY, SLIP] = [24 * 60, 60];
  const MINUTE_US = 60_000_000n;
  // 0.0001 mm in a thousandth of a unit.
  const LENGTHS = { mm: 10n, cm: 100n, in: 254n };

  // What the site's clock shows at an instant (microseconds), in minutes since 1970.
  function shown(us, zone) {
    const two = "2-digit";
    const format = new Intl.DateTimeFormat("en", {
      timeZone: zone, hourCycle: "h23", year: "numeric", month: two, day: two, hour: two, minute: two,
    });
    const of = Object.fromEntries(format.formatToParts(Number(us / 1000n)).map(({ type, value }) => [type, value]));
    return Date.parse(`${of.year}-${of.month}-${of.day}T${of.hour}:${of.minute}Z`) / 60_000;
  }

  const clock = (minutes) => new Date(minutes * 60_000).toISOString().slice(0, 16).replace("T", " ");

  // How many minutes back a time of day lies that is written now: on a date that is named
  // with it, else the last one. Up to an hour ahead it is a slip, and not a day ago.
  function writtenTime(text, on, now, at) {
    if (!text) return null;
    const found = /^([01]\d|2[0-3]):([0-5]\d)(:[0-5]\d)?$/.exec(text);
    if (!found) throw new Refused(at, "noTime");
    const minute = Number(found[1]) * 60 + Number(found[2]);
    const back = on ? now - Date.parse(on) / 60_000 - minute : (now - minute) % A_DAY;
    if (back < 0 || (!on && back >= A_DAY - SLIP)) throw new Refused(at, "liesAhead");
    return back;
  }

  // 1/500 of a degree Fahrenheit: hundredths of either degree are whole.
  function heat(text, unit) {
    const read = scaled(text.replace(/^-/, ""), 2);
    if (read === null) return null;
    const hundredths = text.startsWith("-") ? -read : read;
    return unit === "C" ? hundredths * 9n + 16_000n : hundredths * 5n;
  }

  const warmest = (probes) => probes.reduce((a, b) => (a && a.heat > b.heat ? a : b), null);
  const isAbove = (probe, { text, unit }) => probe.heat > heat(text, unit);
  const isAmong = (caught) => ({ from, to }) => (from === null || from <= caught) && (to === null || caught < to);

  // Where several hold, the longest decides.
  function length(limits, smallest) {
    const [least] = limits.filter((of) => of.length).map((of) => BigInt(of.length)).sort((a, b) => (a > b ? -1 : 1));
    if (least === undefined) return NOT_SET;
    if (smallest === null) return NOT_KNOWN;
    return smallest >= least ? PASSED : FAILED;
  }

  function season(all, now) {
    if (!all.some((of) => of.closed)) return NOT_SET;
    return now.some((of) => of.closed) ? FAILED : PASSED;
  }

  // What the ticket takes of a species: pieces, null where any was not counted, and weight.
  function trip(limits, pieces, net) {
    const trips = limits.filter((of) => of.pieces || of.weight);
    if (!trips.length) return NOT_SET;
    const isOver = (of) => (of.pieces ? pieces !== null && pieces > of.pieces : net > BigInt(of.weight));
    if (trips.some(isOver)) return FAILED;
    return pieces === null && trips.some((of) => of.pieces) ? NOT_KNOWN : PASSED;
  }

  // Fish from an area of the site's list is refused; it is held only while that is unclear.
  function area(rows, lot, get, caught) {
    if (!rows.length) return NOT_SET;
    if (get("area_unclear")) return NOT_KNOWN;
    const isHeavy = ({ above }) => above === null
      || lot.fish.some(({ net, pieces: [, n] }) => net > BigInt(above) * BigInt(n || 1));
    const now = rows.filter(isAmong(caught)).filter(isHeavy);
    const said = get("area").toLowerCase();
    const isSite = ({ system }) => system.toLowerCase() === "site";
    if (said && now.some((row) => isSite(row) && row.code.toLowerCase() === said)) return FAILED;
    return now.some((row) => !said || !isSite(row)) ? NOT_KNOWN : PASSED;
  }

  // Exactly the limit passes.
  function cold(probes, limit) {
    if (!probes.length) return NOT_KNOWN;
    return isAbove(warmest(probes), limit) ? FAILED : PASSED;
  }

  // As many as the site asks for, or all of them where all were counted.
  function probed(taken, lot, net, [few, many, heavy]) {
    const fish = lot.fish.every(({ pieces: [how] }) => how === "counted")
      ? lot.fish.reduce((sum, { pieces: [, n] }) => sum + n, 0) : Infinity;
    return taken >= Math.min(fish, net > BigInt(heavy) ? many : few) ? PASSED : FAILED;
  }

  function histamine(table, probes, sinceUs) {
    if (!table.length) return NOT_SET;
    if (sinceUs === null || sinceUs < 0n || !probes.length) return NOT_KNOWN;
    const row = table.find((of) => sinceUs <= BigInt(of.hours) * 60n * MINUTE_US);
    return row && !isAbove(warmest(probes), row) ? PASSED : FAILED;
  }

  // Each lot of a form that was weighed: what was found, as [rule, standing, limit], when
  // it is to be probed again, and its times as they are understood. Weighed in at `at`,
  // written at `asOf` (microseconds).
  function judge(get, file, lots, at, asOf) {
    const now = shown(asOf, file.zone);
    const caught = get("caught") || get("landed") || file.day;
    const instant = (back) => (back === null ? null : asOf - (asOf % MINUTE_US) - BigInt(back) * MINUTE_US);
    const taken = (lot) => lot.fish.reduce(({ net, pieces }, { net: more, pieces: [how, n] }) => ({
      net: net + more, pieces: pieces === null || how === "not" ? null : pieces + n,
    }), { net: 0n, pieces: 0 });
    return lots.map((lot, i) => {
      const own = (field) => get(i ? `lot${i + 1}_${field}` : field);
      const beside = (field) => ({ lot: i + 1, field });
      const species = file.species.find((of) => of.code === lot.species);
      const unit = own("degrees") || "F";
      const probes = [1, 2, 3].filter((n) => own(`probe_${n}`)).map((n) => {
        const read = heat(own(`probe_${n}`), unit);
        if (read === null) throw new Refused(beside(`probe_${n}`), "noDegrees");
        return { heat: read, field: `probe_${n}` };
      });
      const measured = own("smallest") ? scaled(own("smallest"), 3) : 0n;
      if (measured === null || (own("smallest") && !measured)) throw new Refused(beside("smallest"), "noLength");
      const smallest = measured ? measured * LENGTHS[own("length_unit") || "in"] : null;
      const speared = writtenTime(own("speared_at"), get("caught"), now, beside("speared_at"));
      const iced = writtenTime(own("iced_at"), "", now, beside("iced_at"));
      const seen = [["speared_at", speared], ["iced_at", iced]].filter(([, back]) => back !== null)
        .map(([field, back]) => [beside(field), clock(now - back)]);
      if (!species) return { found: [], seen, probeAgain: "" };

      const isBefore = (other, n) => other.species === lot.species && (n === i || (n < i && !other.refused));
      const all = lots.filter(isBefore).map(taken);
      const pieces = all.some((of) => of.pieces === null) ? null : all.reduce((sum, of) => sum + of.pieces, 0);
      const net = all.reduce((sum, of) => sum + of.net, 0n);
      const limits = species.limits.filter(isAmong(caught));
      const words = limits.filter((of) => of.length).map((of) => of.words).join(", ");
      const found = [
        [LENGTH, length(limits, smallest), words],
        [SEASON, season(species.limits, limits)],
        [TRIP, trip(limits, pieces, net)],
        [AREA, area(species.areas, lot, get, caught)],
        [COLD, cold(probes, file.cold), `${file.cold.text} ${file.cold.unit}`],
        ...(probes.length ? [[PROBES, probed(probes.length, lot, taken(lot).net, file.probes)]] : []),
        ...(species.histamine
          ? [[HISTAMINE, histamine(file.histamine, probes, speared === null ? null : at - instant(speared))]] : []),
      ];
      const stands = (rule) => (found.find(([of]) => of === rule) || [])[1];
      const isAccepted = lot.decision === ACCEPT;
      const isCooling = own("ice_around") === "yes" && iced !== null && instant(iced) <= at;
      const isWarm = stands(COLD) === FAILED;
      const refusals = [
        [stands(LENGTH) === FAILED, beside("smallest"), "belowLegalLength"],
        [stands(SEASON) === FAILED, beside("species"), "outOfSeason"],
        [stands(TRIP) === FAILED, beside("species"), "overTripLimit"],
        [stands(AREA) === FAILED, { lot: 1, field: "area" }, "areaOfConcern"],
        [isAccepted && stands(AREA) === NOT_KNOWN, { lot: 1, field: "area" }, "areaUnclear"],
        [isAccepted && isWarm && !isCooling, beside((warmest(probes) || {}).field), "tooWarm"],
        [isAccepted && stands(HISTAMINE) === FAILED, beside("speared_at"), "histamineLimit"],
      ];
      const why = lot.decision !== REFUSE && refusals.find(([is]) => is);
      if (why) throw new Refused(why[1], why[2]);
      const again = isAccepted && isWarm;
      const due = at + BigInt(file.cool_hours) * 60n * MINUTE_US;
      return { found, seen, probeAgain: again ? clock(shown(due, file.zone)) : "" };
    });
  }

  return { judge, writtenTime, heat, shown, clock, FAILED, NOT_KNOWN, PASSED, NOT_SET };
})();

if (typeof module !== "undefined") module.exports = received;
