// What a ticket would pay, worked out without signal by the rules of the house: exact, in
// whole 10 ng and whole cents, each rounding half up and once. One rule a function, under
// the name it has there. What is not known here (a list, a form or a grade that nobody
// told this browser of) has no price, and that is said; the house works out every ticket
// again.
"use strict";

const price = (() => {
  // 10 ng in a unit, places that a reading may have, and the step of ice without a scale.
  const UNITS = {
    lb: { whole: 45_359_237_000n, places: 3, step: 45_359_237n },
    kg: { whole: 100_000_000_000n, places: 6, step: 100_000_000n },
  };
  const HEAVIEST = 1_000_000_000_000_000n;
  const [HOLD, REFUSE] = ["2", "3"];
  const [GIVE, TAKE_HOME] = ["2", "3"];
  const TORN = "3";

  // Why a form cannot be a ticket: which field, and which rule.
  class Refused extends Error {
    constructor(at, rule) {
      super(rule);
      this.at = at;
      this.rule = rule;
    }
  }

  // `n / d` to the nearest whole number, half away from zero.
  function halfUp(n, d) {
    const rounded = ((n < 0n ? -n : n) * 2n + d) / (d * 2n);
    return n < 0n ? -rounded : rounded;
  }

  // A plain decimal as a whole number of 10^-places; null where it is none.
  function scaled(text, places) {
    const found = /^(\d+)(?:\.(\d+))?$/.exec(text);
    if (!found) return null;
    const part = (found[2] || "").replace(/0+$/, "");
    if (part.length > places || found[1].replace(/^0+/, "").length > 12) return null;
    return BigInt(found[1] + part.padEnd(places, "0"));
  }

  function weigh(text, unit, at) {
    const { whole, places } = UNITS[unit];
    const read = scaled(text, places);
    if (read === null) throw new Refused(at, "noDecimal");
    const weight = halfUp(read * whole, 10n ** BigInt(places));
    if (weight <= 0n || weight > HEAVIEST) throw new Refused(at, "noWeight");
    return weight;
  }

  // Half up to three places, two where the third is nothing.
  function shown(weight, unit) {
    const thousandths = halfUp(weight * 1000n, UNITS[unit].whole);
    const digits = String(thousandths).padStart(4, "0");
    return `${digits.slice(0, -3)}.${digits.slice(-3)}`.replace(/0$/, "");
  }

  function money(cents, currency) {
    const digits = String(cents).padStart(3, "0");
    return `${digits.slice(0, -2)}.${digits.slice(-2)} ${currency}`;
  }

  // A price of four places, without the last two where they are nothing.
  function unitPrice(e4, currency, per) {
    const digits = String(e4).padStart(5, "0");
    const text = `${digits.slice(0, -4)}.${digits.slice(-4)}`;
    return `${text.replace(/00$|0$/, "")} ${currency}/${per}`;
  }

  // Rounded down to whole steps of the scale.
  function iceAllowance(fish, ppm, step) {
    return ((fish * BigInt(ppm)) / (step * 1_000_000n)) * step;
  }

  // Net is held against edge x pieces, so nothing is rounded.
  function meanIsBelow(net, pieces, edge) {
    return net < edge * BigInt(pieces);
  }

  // Number from 1, and the band of a mean: exactly at an edge is the upper band.
  function bandOfMean(grade, net, pieces) {
    let found = null;
    grade.bands.some((band, i) => {
      if (meanIsBelow(net, pieces, BigInt(band.from))) return true;
      found = [i + 1, band];
      return false;
    });
    return found;
  }

  // Of versions the one that holds at an instant; of two from one instant the later entry.
  function inForce(versions, at) {
    const begun = versions.filter((of) => BigInt(of.from_us) <= at);
    const later = (a, b) => {
      const [of, other] = [BigInt(a.from_us), BigInt(b.from_us)];
      return of === other ? BigInt(a.entry) > BigInt(b.entry) : of > other;
    };
    return begun.reduce((last, of) => (last && later(last, of) ? last : of), null);
  }

  // What was agreed with the diver for a line: of its grade before that of all grades.
  function agreedFor(agreed, lot, grade, undersize, at) {
    const of = (wanted) => {
      const found = inForce(
        agreed.filter((each) => each.species === lot.species
          && each.presentation === lot.presentation && each.grade === wanted),
        at,
      );
      const covers = found && (undersize === "no" || found.below_plate);
      return covers && at < BigInt(found.to_us) ? found : null;
    };
    return of(grade) || of(null);
  }

  // With the condition's adjustment on it, never below zero.
  function priceInCondition(e4, list, condition) {
    const found = list.conditions.find((of) => of.condition === condition);
    const adjusted = e4 + BigInt(found ? found.e4 : 0);
    return adjusted < 0n ? 0n : adjusted;
  }

  // Weight at a price, to the cent once.
  function amount(weight, e4, per) {
    return halfUp(weight * e4, UNITS[per].whole * 100n);
  }

  // Pieces of two weighings: [how, how many].
  function together([how, n], [other, m]) {
    if (how === "not" || other === "not") return ["not", 0];
    return [how === "about" || other === "about" ? "about" : "counted", n + m];
  }

  // Asked where a mean lies within two divisions of its scale, or 3 % of its net, of the
  // plate minimum.
  function asksToCull(net, pieces, division, minimum) {
    const apart = (net - minimum * BigInt(pieces)) * 100n;
    const close = [division * 200n, net * 3n].reduce((a, b) => (a > b ? a : b));
    return pieces > 1 && (apart < 0n ? -apart : apart) <= close;
  }

  // What a form says: its lots, each weighing weighed. `get` gives a field's value.
  function read(get, file) {
    const unit = get("unit") === "kg" ? "kg" : "lb";
    const scale = file.scales.find((of) => of.code === get("scale"));
    const step = scale ? BigInt(scale.division) : UNITS[unit].step;
    const gradeOf = (text, at) => {
      if (!/^[A-Za-z0-9]{0,8}$/.test(text)) throw new Refused(at, "noGrade");
      return text.toUpperCase() || "0";
    };
    if (!get("harvester")) throw new Refused({ lot: 1, field: "harvester" }, "isNeeded");
    const lots = [];
    for (let n = 1; n <= (Number(get("lots")) || 1); n += 1) {
      const own = (field) => get(n === 1 ? field : `lot${n}_${field}`);
      const at = (field, row) => ({ lot: n, field, row });
      if (!own("species")) throw new Refused(at("species"), "isNeeded");
      const lot = {
        species: own("species"),
        presentation: own("presentation"),
        decision: own("decision"),
        small: own("small"),
        fish: [],
      };
      if (lot.decision !== "1" && !own("reason")) throw new Refused(at("reason"), "isNeeded");
      if (lot.decision === REFUSE && !own("action")) throw new Refused(at("action"), "isNeeded");
      for (let row = 1; row <= Math.max(3, Number(own("rows")) || 0); row += 1) {
        const [gross, tare, tote, pieces] = ["gross", "tare", "tote", "pieces"]
          .map((field) => own(`${field}_${row}`));
        if (!gross && !tare) continue;
        const whole = weigh(gross, unit, at("gross", row));
        let less = 0n;
        if (tare) {
          less = weigh(tare, unit, at("tare", row));
        } else if (tote) {
          const known = file.totes.find((of) => of.code === tote);
          if (!known) throw new Refused(at("tote", row), "noTote");
          less = BigInt(known.tare);
        }
        if (less >= whole) throw new Refused(at("tare", row), "tareNotBelow");
        const ice = own(`iced_${row}`) ? iceAllowance(whole - less, file.ice_ppm, step) : 0n;
        if (ice >= whole - less) throw new Refused(at("gross", row), "noWeight");
        if (pieces && !/^[1-9]\d{0,5}$/.test(pieces)) throw new Refused(at("pieces", row), "noNumber");
        const how = own(`about_${row}`) ? "about" : "counted";
        lot.fish.push({
          net: whole - less - ice,
          pieces: pieces ? [how, Number(pieces)] : ["not", 0],
          grade: gradeOf(own(`grade_${row}`), at("grade", row)),
          condition: own(`condition_${row}`),
        });
      }
      const grade = gradeOf(own("grade_fish"), at("grade_fish"));
      for (const text of own("fish").split(/\s+/).filter(Boolean)) {
        lot.fish.push({
          net: weigh(text, unit, at("fish")),
          pieces: ["counted", 1],
          grade,
          condition: own("condition_fish"),
        });
      }
      if (!lot.fish.length) throw new Refused(at("gross", 1), "isNeeded");
      lots.push(lot);
    }
    return { lots, unit, division: scale ? BigInt(scale.division) : 0n };
  }

  // The ticket of a form at an instant (microseconds): its lots as weighed, its lines, what
  // is not bought, and the payout in cents, null where the price of any of it is not known.
  function ticket(get, file, at) {
    const { lots, unit, division } = read(get, file);
    const agreed = file.agreed.filter((of) => of.harvester === get("harvester"));
    const done = { unit, lots, lines: [], notBought: [], questions: [], net: 0n, payout: 0n, held: 0n };
    const accepted = new Map();
    const keyOf = (lot, part) => [lot.species, lot.presentation, part.grade].join("/");
    for (const lot of lots) {
      lot.parts = [];
      lot.refused = lot.decision === REFUSE;
      const list = inForce(file.lists.filter((of) => of.species === lot.species), at);
      const known = list && list.currency === file.currency ? list : null;
      const prices = known && known.presentations.find((of) => of.presentation === lot.presentation);
      for (const fish of lot.refused ? [] : lot.fish) {
        const [how, n] = fish.pieces;
        const grade = prices && prices.grades.find((of) => of.grade === fish.grade);
        let band = [0, null];
        if (grade && known.by === "piece" && how !== "not") band = bandOfMean(grade, fish.net, n);
        if (prices && prices.is_fish && how !== "not"
          && asksToCull(fish.net, n, division, BigInt(prices.plate_minimum))) {
          done.questions.push("cull");
        }
        const alike = lot.parts.find((part) => part.band[0] === band[0]
          && part.grade === fish.grade && part.condition === fish.condition);
        if (alike) {
          alike.net += fish.net;
          alike.pieces = together(alike.pieces, fish.pieces);
        } else {
          lot.parts.push({ ...fish, band, list: known, prices: grade });
        }
      }
      for (const part of lot.parts) {
        const [how, n] = part.pieces;
        if (!part.prices) part.undersize = "unknown";
        else if (!prices.is_fish) part.undersize = "no";
        else if (how === "not") part.undersize = "unknown";
        else part.undersize = meanIsBelow(part.net, n, BigInt(prices.plate_minimum)) ? "yes" : "no";
      }
      const home = lot.parts.filter((part) => lot.small === TAKE_HOME && part.undersize === "yes");
      lot.parts = lot.parts.filter((part) => !home.includes(part));
      const net = (of) => of.reduce((sum, fish) => sum + fish.net, 0n);
      if (lot.refused) done.notBought.push({ net: net(lot.fish), why: "refused" });
      if (home.length) done.notBought.push({ net: net(home), why: "home" });
      for (const part of lot.parts) {
        const key = keyOf(lot, part);
        accepted.set(key, (accepted.get(key) || 0n) + part.net);
      }
    }
    lots.forEach((lot, i) => lot.parts.forEach((part) => {
      const line = lineOf(lot, part, accepted.get(keyOf(lot, part)), agreed, at);
      const held = lot.decision === HOLD;
      done.lines.push({ ...line, lot: i + 1, written: lot, held });
      done.net += part.net;
      if (line.cents === null) done.payout = null;
      else if (done.payout !== null) done.payout += line.cents;
      if (held && line.cents !== null) done.held += line.cents;
    }));
    return done;
  }

  function lineOf(lot, part, accepted, agreed, at) {
    const { list, prices } = part;
    const line = {
      band: part.band[1],
      counted: part.pieces[0] !== "not",
      pieces: part.pieces,
      net: part.net,
      torn: part.condition === TORN,
      undersize: part.undersize,
      e4: null,
      per: list && list.per,
      cents: null,
    };
    if (!prices) return line;
    let listed = prices.not_counted;
    if (list.by === "lot") line.band = bandOfMean(prices, accepted, 1)[1];
    if (line.band) listed = line.band.e4;
    if (listed === null) return line;
    const given = line.undersize === "yes" && lot.small === GIVE;
    const own = given ? null : agreedFor(agreed, lot, part.grade, line.undersize, at);
    if (own && own.per !== list.per) return line;
    line.e4 = given ? 0n : priceInCondition(BigInt(own ? own.e4 : listed), list, part.condition);
    line.cents = amount(line.net, line.e4, line.per);
    return line;
  }

  return { ticket, shown, money, unitPrice, halfUp, scaled, bandOfMean, iceAllowance, Refused };
})();

if (typeof module !== "undefined") module.exports = price;
