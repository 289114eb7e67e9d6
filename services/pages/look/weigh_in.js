// The weigh-in with a script: sums as one types, rows and species without asking the house,
// a screen for the diver, and a queue for when there is no signal.
//
// What is booked is first kept in this browser, on disk, and then sent: one entry at a
// time, in order, each with the id of its request, so that the house books it once however
// often it is sent. An entry leaves the queue when the house has answered for good, and
// not before. Written without signal it bears a lot number that was reserved ahead, and
// the payout the diver was shown. Kept beside the queue is what one needs to go on: divers,
// scales, prices. Never kept: a key, the session, or its token.
"use strict";

(async () => {
  const form = document.querySelector("[data-weigh-in]");
  if (!form || typeof idb === "undefined") return;
  const w = document.querySelector("[data-words]").dataset;
  const isShell = "shell" in form.dataset;
  const find = (selector) => document.querySelector(selector);

  const ENOUGH = 20;
  const ASK_FOR = 50;
  const ANSWER_WITHIN_MS = 8000;
  const LOCKED_FOR_MS = 15_000;
  const TYPED_MS = 350;
  const A_DAY_MS = 24 * 60 * 60 * 1000;
  const [FIRST_WAIT_MS, LONGEST_WAIT_MS] = [2000, 15_000];
  const [MOST_ROWS, MOST_LOTS, MORE] = [60, 6, 3];

  // ---- what is kept ---------------------------------------------------------------

  const db = await idb.openDB("weigh-in", 1, {
    upgrade(fresh) {
      fresh.createObjectStore("kept");
      fresh.createObjectStore("entries", { keyPath: "n", autoIncrement: true });
    },
  }).catch(() => null);
  // Without a place to keep things the page goes on as it does without a script.
  if (!db) return;
  const kept = (key) => db.get("kept", key);
  // What is written is on disk before anybody is told so.
  const writing = () => db.transaction(["entries", "kept"], "readwrite", { durability: "strict" });
  const keep = (key, value) => db.put("kept", value, key);
  const entries = () => db.getAll("entries");
  const isOpen = (entry) => entry.state !== "booked";

  function freshId() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  // One tab at a time. Where a browser has no locks, or another tab keeps one too long,
  // `otherwise` is done: sending, since the ids of requests still make one of each.
  function alone(name, work, otherwise) {
    if (!navigator.locks) return work();
    const patience = new AbortController();
    let isMine = false;
    const late = setTimeout(() => patience.abort(), LOCKED_FOR_MS);
    const mine = () => {
      isMine = true;
      clearTimeout(late);
      return work();
    };
    return navigator.locks.request(`weigh-in ${name}`, { signal: patience.signal }, mine).catch((error) => {
      if (isMine) throw error;
      return otherwise();
    });
  }

  // ---- the house ------------------------------------------------------------------

  let stock = (await kept("stock")) || null;
  // Kept by a page that knew less.
  if (stock && !stock.zone) stock = null;
  let token = form.elements.token.value;
  let online = !isShell && navigator.onLine !== false;
  let signedOut = false;
  let reopens = false;
  // Tries that ended with nothing since one did not, and the next that is due.
  let waits = 0;
  let timer = 0;

  // Status 0 is no answer at all; whatever it was asked for, it is tried again.
  async function ask(path, fields) {
    const patience = new AbortController();
    const late = setTimeout(() => patience.abort(), ANSWER_WITHIN_MS);
    try {
      const body = fields && new URLSearchParams(fields);
      const options = fields ? { method: "POST", body } : {};
      const answer = await fetch(path, { ...options, cache: "no-store", signal: patience.signal });
      const isJson = (answer.headers.get("content-type") || "").includes("json");
      return { status: answer.status, told: isJson ? await answer.json() : null };
    } catch (gone) {
      online = false;
      later();
      return { status: 0, told: null };
    } finally {
      clearTimeout(late);
    }
  }

  // Takes in what one needs to go on; whether the house knows who is here.
  async function refresh() {
    const { status, told } = await ask("/weigh-in/stock");
    if (status) online = true;
    if (status === 200) {
      signedOut = false;
      waits = 0;
      ({ token } = told);
      const { token: _, ...rest } = told;
      const offset = BigInt(told.now_us) - BigInt(Date.now()) * 1000n;
      stock = { ...rest, offset: String(offset) };
      await keep("stock", stock);
    } else if (status === 401) {
      signedOut = true;
      token = "";
    }
    return status === 200;
  }

  // Microseconds by the house's clock, as far as it was told.
  function clockOf({ runs, offset, now_us: stood }) {
    return runs ? BigInt(Date.now()) * 1000n + BigInt(offset) : BigInt(stood);
  }

  // When something is sent that was first read at `first`. A clock that was set back
  // meanwhile sends nothing before it was read.
  function sentOf(clock, first) {
    const now = clockOf(clock);
    return String(now > first ? now : first);
  }

  // ---- the form -------------------------------------------------------------------

  function fields() {
    const own = ["token", "do", "request_id", "confirmation"];
    return [...new FormData(form)].filter(([name]) => !own.includes(name));
  }

  function getter(pairs) {
    const all = new Map();
    for (const [name, value] of pairs) if (!all.has(name)) all.set(name, value.trim());
    return (name) => all.get(name) || "";
  }

  function rename(clone, change) {
    for (const of of clone.querySelectorAll("[id],[name],[for]")) {
      for (const name of ["id", "name", "for"]) {
        if (of.hasAttribute(name) && of.getAttribute(name) !== "do") {
          of.setAttribute(name, change(of.getAttribute(name)));
        }
      }
    }
  }

  function clear(of) {
    for (const field of of.querySelectorAll("input, textarea, select")) {
      if (field.type === "hidden") continue;
      if (["checkbox", "radio"].includes(field.type)) field.checked = false;
      else if (field.tagName === "SELECT") field.selectedIndex = 0;
      else field.value = "";
    }
    for (const said of of.querySelectorAll("[data-said]")) said.textContent = "";
    for (const group of of.querySelectorAll(".answer")) {
      group.querySelector("input[type=radio]").checked = true;
    }
  }

  const lots = () => [...form.querySelectorAll("[data-lot]")];
  const rowsOf = (lot) => [...lot.querySelectorAll("[data-row]")];

  function setRows(lot, wanted) {
    let rows = rowsOf(lot);
    while (rows.length > wanted) rows.pop().remove();
    while (rows.length < Math.min(wanted, MOST_ROWS)) {
      const last = rows[rows.length - 1];
      const n = rows.length + 1;
      const clone = last.cloneNode(true);
      clone.dataset.row = n;
      rename(clone, (name) => name.replace(/_\d+$/, `_${n}`));
      clear(clone);
      clone.querySelector("[data-n]").textContent = n;
      last.after(clone);
      rows = rowsOf(lot);
    }
    lot.querySelector("input[type=hidden][name$=rows]").value = rows.length;
  }

  function setLots(wanted) {
    let all = lots();
    while (all.length > wanted) all.pop().remove();
    while (all.length < Math.min(wanted, MOST_LOTS)) {
      const n = all.length + 1;
      const clone = all[0].cloneNode(true);
      clone.dataset.lot = n;
      // Radios of one name turn each other off: named anew before it is in the page.
      rename(clone, (name) => `lot${n}_${name}`);
      clear(clone);
      clone.querySelector("h2 [data-n]").textContent = n;
      clone.querySelector("[data-more]").value = `more_${n}`;
      all[all.length - 1].after(clone);
      setRows(clone, MORE);
      all = lots();
    }
    form.elements.lots.value = all.length;
  }

  // Without the last fish, else the last tote, else the last species where it is empty.
  function undo() {
    for (const lot of lots().reverse()) {
      const fish = lot.querySelector("textarea");
      const weights = fish.value.split(/\s+/).filter(Boolean);
      if (weights.length) {
        fish.value = weights.slice(0, -1).join(" ");
        return;
      }
      const isUsed = (field) => (field.type === "checkbox" ? field.checked : field.value !== "");
      const row = rowsOf(lot).reverse().find((of) => [...of.querySelectorAll("input, select")].some(isUsed));
      if (row) {
        clear(row);
        return;
      }
      if (lots().length > 1) {
        setLots(lots().length - 1);
        return;
      }
    }
  }

  function fillIn(pairs) {
    const get = getter(pairs);
    setLots(Number(get("lots")) || 1);
    lots().forEach((lot, i) => setRows(lot, Number(get(i ? `lot${i + 1}_rows` : "rows")) || MORE));
    for (const field of form.elements) {
      if (!field.name || ["token", "do", "request_id", "lots", "unit"].includes(field.name)) continue;
      if (field.name.endsWith("rows") || field.name === "confirmation") continue;
      if (field.type === "radio") field.checked = field.value === get(field.name);
      else if (field.type === "checkbox") field.checked = get(field.name) !== "";
      else field.value = get(field.name);
    }
  }

  function beginAnew() {
    setLots(1);
    setRows(lots()[0], MORE);
    const scale = form.elements.scale.value;
    clear(form);
    form.elements.scale.value = scale;
    form.elements.request_id.value = freshId();
    firstReading = null;
    mending = null;
    mendedAsOf = null;
    show(null);
  }

  // What a page that names nobody lacks: whom and what to choose.
  function choose() {
    if (!stock || !isShell) return;
    const fill = (select, choices) => {
      if (select.options.length > 1) return;
      for (const [value, words] of choices) select.append(new Option(words, value));
    };
    fill(form.elements.harvester, stock.divers);
    fill(form.elements.scale, stock.scales.map((of) => [of.code, of.name]));
    fill(form.elements.species, stock.species.map((of) => [of.code, of.name]));
    form.elements.unit.value = stock.unit;
    for (const of of document.querySelectorAll("[data-unit]")) of.textContent = stock.unit;
  }

  // ---- as one types ---------------------------------------------------------------

  let firstReading = null;
  let mending = null;
  let mendedAsOf = null;
  let running = null;
  let runs = 0;
  let shownAs = "";

  function el(tag, attributes, ...children) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes || {})) if (value) made.setAttribute(name, value);
    made.append(...children.filter((child) => child !== null && child !== ""));
    return made;
  }

  const fact = (name, value, more) => el("div", more, el("dt", null, name), el("dd", null, value));

  // When the times of day of the form are written: now, or when it was that is mended.
  const asOf = () => mendedAsOf || clockOf(stock);

  // By how they stand, what did not pass first, as the house tells it.
  function foundHere(lots) {
    const [rules, standings] = [w.rules, w.standings].map((words) => words.split("|"));
    return lots.flatMap(({ found }) => [received.FAILED, received.NOT_KNOWN, received.PASSED, received.NOT_SET]
      .map((standing) => ({
        standing: standings[standing - 1],
        rules: found.filter(([, of]) => of === standing).map(([rule, of, limit]) => (
          limit && of !== received.NOT_SET ? `${rules[rule - 1]} (${limit})` : rules[rule - 1])).join(", "),
        texts: [],
      })).filter((of) => of.rules));
  }

  // What the ticket would be, by the rules in this browser.
  function workedOutHere(pairs) {
    const get = getter(pairs);
    const at = firstReading || clockOf(stock);
    const done = price.ticket(get, stock, at);
    const judged = received.judge(get, stock, done.lots, at, asOf());
    const { unit } = done;
    const { currency } = stock;
    const species = (code) => stock.species.find((of) => of.code === code) || { name: code, cautions: [], small: {} };
    const edges = ({ from, to }) => {
      const low = price.shown(BigInt(from), unit);
      return to === null ? `${low} ${unit} ${w.bandUp}` : `${low} ${w.bandUnder} ${price.shown(BigInt(to), unit)} ${unit}`;
    };
    const many = Number(get("lots")) > 1;
    const lines = done.lines.map((line) => {
      const { band, pieces: [how, n], written } = line;
      const [small, reason] = {
        no: ["", null],
        unknown: [w.notKnown, null],
        yes: species(written.species).small[`${written.presentation}/${line.torn ? 1 : 0}/${written.decision}`] || ["", null],
      }[line.cents === null ? "no" : line.undersize];
      return {
        fish: many ? species(written.species).name : "",
        band: band ? `${band.name}, ${edges(band)}` : w.notCounted,
        pieces: { not: w.notCounted, counted: String(n), about: `${w.about} ${n}` }[how],
        net: `${price.shown(line.net, unit)} ${unit}`,
        price: line.cents === null ? w.noPrice : price.unitPrice(line.e4, currency, line.per),
        amount: line.cents === null ? "-" : price.money(line.cents, currency),
        held: line.held,
        small,
        reason,
      };
    });
    const cautions = [];
    for (let n = 1; n <= (Number(get("lots")) || 1); n += 1) {
      for (const said of species(get(n === 1 ? "species" : `lot${n}_species`)).cautions) {
        if (cautions.every((of) => of.text !== said.text)) cautions.push(said);
      }
    }
    return {
      here: true,
      lines,
      cautions,
      seen: judged.flatMap((lot) => lot.seen).map(([beside, is]) => [namedBy(beside), is]),
      found: foundHere(judged),
      probe_again: judged.filter((lot) => lot.probeAgain).map((lot) => `${w.probeAgain} ${lot.probeAgain}`),
      warnings: [],
      questions: done.questions.slice(0, 1).map((code) => ({ code, text: w.cull, lang: "" })),
      not_bought: done.notBought.map(({ net, why }) => [
        `${price.shown(net, unit)} ${unit}`, why === "home" ? w.homeWord : w.refusedWord,
      ]),
      net: `${price.shown(done.net, unit)} ${unit}`,
      payout: done.payout === null ? w.noPrice : price.money(done.payout, currency),
      minor: done.payout === null ? null : String(done.payout),
      held: done.held ? price.money(done.held, currency) : "",
    };
  }

  // The words beside the field that a rule here is about.
  function namedBy({ lot, field, row }) {
    const own = lot > 1 ? `lot${lot}_${field}` : field;
    const beside = form.elements[row ? `${own}_${row}` : own];
    const label = beside && beside.labels && beside.labels[0] ? beside.labels[0].textContent : field;
    return [lot > 1 ? `${w.lot} ${lot}` : "", row ? `${w.tote} ${row}` : "", label].filter(Boolean).join(", ");
  }

  async function workedOut() {
    const pairs = fields();
    if (online && token) {
      const sent = [...pairs, ["token", token], ["confirmation", "1"]];
      if (stock) sent.push(["as_of_us", String(asOf())]);
      if (firstReading && stock) {
        sent.push(["first_reading_us", String(firstReading)], ["sent_us", sentOf(stock, firstReading)]);
      }
      const { status, told } = await ask("/weigh-in/running", sent);
      if (status === 200) return told;
      if (status === 422) return { error: [told.field, told.rule, told.lang] };
      if (status === 401) signedOut = true;
      if (status === 401 || status === 403) token = "";
      due();
    }
    if (!stock) return { error: ["", w.nothingKnown] };
    try {
      return workedOutHere(pairs);
    } catch (refused) {
      if (!(refused instanceof price.Refused)) throw refused;
      const rules = { noNumber: w.noNumberRule };
      return { error: [namedBy(refused.at), rules[refused.rule] || w[refused.rule]] };
    }
  }

  function ticketOf(told) {
    const lines = told.lines.map((line) => el(
      "dl", { class: "facts" },
      ...(line.fish ? [fact(w.fish, line.fish)] : []),
      fact(line.band, line.pieces),
      fact(`${line.net} x ${line.price}`, el("strong", null, line.amount)),
      ...(line.held ? [fact(w.state, w.held)] : []),
      ...(line.small ? [fact(w.small, el("span", null, line.small, ...(line.reason?.text ? [el("br"), el("span", { lang: line.reason.lang }, line.reason.text)] : [])))] : []),
    ));
    const sums = el(
      "dl", { class: "facts" },
      ...told.not_bought.map(([net, why]) => fact(`${w.notBought}: ${why}`, net)),
      fact(w.net, told.net),
      fact(w.payout, told.payout, { class: "sum" }),
      ...(told.held ? [fact(w.held, told.held)] : []),
    );
    return el("article", { class: "ticket" }, ...lines, sums);
  }

  function around(told) {
    const seen = told.seen.map(([name, is]) => fact(name, is));
    const found = told.found.map((of) => fact(of.standing, el(
      "span", null, of.rules, ...of.texts.flatMap((said) => [el("br"), el("span", { lang: said.lang }, said.text)]),
    )));
    const questions = told.questions.filter((of, i) => told.questions.findIndex((other) => other.code === of.code) === i);
    return [
      ...(told.here ? [el("p", { class: "notice" }, w.workedHere)] : []),
      ...(found.length ? [el("h3", null, w.received), el("dl", { class: "facts" }, ...seen, ...found)] : []),
      ...told.probe_again.map((text) => el("p", null, el("strong", null, text))),
      ...told.warnings.map((of) => el("p", { class: "notice", lang: of.lang }, of.text)),
      ...questions.map((of) => el(
        "p", { class: "field" },
        el("label", { for: `answer_${of.code}`, lang: of.lang }, of.text),
        el("input", { type: "hidden", name: "asked", value: of.code }),
        el("input", { id: `answer_${of.code}`, name: `answer_${of.code}`, maxlength: "500" }),
      )),
      ...(told.cautions.length ? [el(
        "div", { class: "caution" }, el("h3", null, w.cautions),
        el("ul", null, ...told.cautions.map((of) => el("li", { lang: of.lang }, of.text))),
      )] : []),
    ];
  }

  // Why not, for people: a rule that names its lot in words needs no path of a field.
  const because = ([field, rule]) => [field.includes("[") ? "" : field, rule].filter(Boolean).join(": ");

  // Bands with their prices, each once, and what they come to.
  function inShort(told) {
    const bands = told.lines.map((line) => `${line.band.split(",")[0]} ${line.price}`);
    const sums = `${w.net} ${told.net}, ${w.payout} ${told.payout}`;
    return [...new Set(bands), sums].join("; ");
  }

  function show(told, isAsked) {
    const sum = find("[data-sum]");
    const section = find("[data-running]");
    running = told && !told.error ? told : null;
    if (told && told.error) {
      // What is still to be typed is no mistake until somebody wants to go on.
      sum.textContent = told.error[1] === w.isNeeded && !isAsked ? "" : because(told.error);
    } else {
      sum.textContent = told ? inShort(told) : "";
    }
    sum.lang = (told && told.error && told.error[2]) || document.documentElement.lang;
    section.hidden = !running;
    // Drawn anew only where it differs, so that an answer being typed stays.
    const as = JSON.stringify(running);
    if (as === shownAs) return;
    shownAs = as;
    const answers = [...section.querySelectorAll("input[id]")].map((of) => [of.id, of.value]);
    section.querySelector("[data-of]").replaceChildren(...(running ? [ticketOf(running), ...around(running)] : []));
    for (const [id, value] of answers) {
      const again = document.getElementById(id);
      if (again) again.value = value;
    }
  }

  async function run(isAsked) {
    runs += 1;
    const mine = runs;
    const told = await workedOut();
    if (mine !== runs) return null;
    show(told, isAsked);
    say();
    return running;
  }

  // ---- to the diver, and into the queue --------------------------------------------

  const aside = ["[data-weigh-in]", "[data-queue]", "[data-turned]"].map(find);

  function turn(isTurned) {
    const [typing, queue, turned] = aside;
    typing.hidden = isTurned;
    turned.hidden = !isTurned;
    queue.hidden = isTurned || !queue.querySelector("li");
    if (isTurned) {
      const { harvester } = form.elements;
      const diver = harvester.options[harvester.selectedIndex].text;
      turned.querySelector("[data-of]").replaceChildren(
        el("p", { class: "of" }, `${w.diver}: `, el("strong", null, diver)), ticketOf(running),
      );
      find("#turned").focus();
      window.scrollTo(0, 0);
    }
  }

  async function keepEntry(confirmation) {
    const { harvester } = form.elements;
    const pairs = [...fields(), ["confirmation", confirmation]];
    const made = {
      id: form.elements.request_id.value,
      fields: pairs,
      diver: harvester.options[harvester.selectedIndex].text,
      net: running.net,
      payout: running.payout,
      minor: running.here ? running.minor : null,
      first_us: String(firstReading || clockOf(stock)),
      as_of_us: String(asOf()),
      clock: { runs: stock.runs, offset: stock.offset, now_us: stock.now_us },
      whose: stock.whose,
      site: stock.site,
      state: "waiting",
      tries: 0,
      written: Date.now(),
    };
    const tx = writing();
    const before = mending && (await tx.objectStore("entries").get(mending));
    if (before) {
      // Mended it keeps its place, its number and when it was weighed.
      Object.assign(made, { n: before.n, number: before.number, device: before.device, first_us: before.first_us });
    }
    if (running.here && !made.number) {
      const key = `numbers ${stock.site}`;
      const free = (await tx.objectStore("kept").get(key)) || [];
      if (free.length) {
        made.number = free[0];
        made.device = await tx.objectStore("kept").get("device");
        await tx.objectStore("kept").put(free.slice(1), key);
      }
    }
    const n = await tx.objectStore("entries").put(made);
    await tx.done;
    return n;
  }

  let booking = false;

  async function book(confirmation) {
    if (booking || !running) return;
    booking = true;
    const isHere = running.here;
    try {
      const n = await keepEntry(confirmation).catch(() => null);
      if (n === null) {
        say(w.notKept);
        return;
      }
      if (!isHere) {
        await drain();
        let entry = await db.get("entries", n);
        if (entry && entry.state === "waiting" && entry.tries === 0) {
          await drain();
          entry = await db.get("entries", n);
        }
        if (entry.state === "booked") {
          // Seen at once on its own page: it need not be listed.
          await db.delete("entries", n);
          beginAnew();
          turn(false);
          window.location.assign(`/tickets/${entry.answer.ticket}`);
          return;
        }
        if (entry.state === "refused" && !entry.number) {
          // It was never more than this form: it goes back to it.
          await db.delete("entries", n);
          turn(false);
          show({ error: entry.why }, true);
          await list();
          return;
        }
      }
      beginAnew();
      turn(false);
      await list();
      say(w.keptLater);
      form.elements.harvester.focus();
      if (isHere) drain();
    } finally {
      booking = false;
    }
  }

  // ---- sending ---------------------------------------------------------------------

  let draining = null;

  // One try is due at most: who asks for another neither puts it off nor makes it wait longer.
  function later() {
    if (timer) return;
    const wait = Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** waits);
    waits += 1;
    timer = setTimeout(wake, wait * (0.75 + Math.random() / 2));
  }

  // However a try ended, another is due where something is left to do: nobody answered, it
  // was not said who is here, or entries wait. Signing in on another tab is found out so.
  async function due() {
    const isOurs = (entry) => entry.state === "waiting" && entry.whose === stock.whose;
    if (!online || (!token && !signedOut) || (stock && (await entries()).some(isOurs))) later();
  }

  async function wake() {
    clearTimeout(timer);
    timer = 0;
    if (!online || !token) await refresh();
    await drain();
    await reserve();
    say();
  }

  // Asked for by a person, or when something has changed: not as if it had failed before.
  function wakeNow() {
    waits = 0;
    return wake();
  }

  function drain() {
    if (!draining) {
      const sent = alone("queue", sendAll, sendAll).finally(() => { draining = null; });
      // What another tab sent meanwhile is listed as well.
      draining = sent.finally(list).finally(due);
    }
    return draining;
  }

  // Tells the house how many entries are here, and then how many of them came to an end:
  // while some have not, the close of the day knows.
  async function tell(of, said) {
    const { told } = await ask("/weigh-in/device", {
      token, request_id: freshId(), site: stock.site, device: await kept("device"), ...said, ...of,
    });
    return told && told.open ? { open: told.open } : null;
  }

  async function sendAll() {
    const all = (await entries()).filter(isOpen);
    const isUndrained = (await db.getAllKeys("kept")).some((key) => key.startsWith("undrained"));
    if (!all.length && !isUndrained) return;
    if ((!token || !online) && !(await refresh())) {
      say();
      return;
    }
    const device = await kept("device");
    const toEnd = `undrained ${stock.site}`;
    const undrained = (await kept(toEnd)) || 0;
    const counted = (of) => of.filter((entry) => isOpen(entry) && entry.site === stock.site
      && (entry.number || entry.tries)).length;
    const before = Math.max(counted(all), undrained);
    const opened = device && before ? await tell({}, { queued: before }) : null;
    if (opened) await keep(toEnd, before);
    const passed = new Set();
    for (;;) {
      const waiting = (await entries()).find((entry) => entry.state === "waiting"
        && entry.whose === stock.whose && !passed.has(entry.n));
      if (!waiting) break;
      passed.add(waiting.n);
      const goesOn = await sendOne(waiting);
      await list();
      if (!goesOn) break;
    }
    const left = counted(await entries());
    if (opened && online && token) {
      const ended = await tell(opened, { queued: before, resolved: before - Math.min(left, before) });
      if (ended && left) await keep(toEnd, left);
      else if (ended) await db.delete("kept", toEnd);
    }
    say();
  }

  // Sends one entry and writes down what came of it; whether to go on with the next.
  async function sendOne(entry, isAgain) {
    say(w.sending);
    const sent = [
      ...entry.fields,
      ["token", token],
      ["request_id", entry.id],
      ["site", entry.site],
      ["device", entry.number ? entry.device : ""],
      ["lot_number", entry.number || ""],
      ["first_reading_us", entry.first_us],
      ["as_of_us", entry.as_of_us || entry.first_us],
      ["sent_us", sentOf(entry.clock, BigInt(entry.first_us))],
      ["offline_minor", entry.minor || ""],
    ];
    const { status, told } = await ask("/weigh-in/queued", sent);
    if (status === 403 && !isAgain && (await refresh())) return sendOne(entry, true);
    const became = { ...entry, tries: entry.tries + 1 };
    if (status === 200) Object.assign(became, { state: "booked", answer: told, ended: Date.now() });
    else if (status === 422) Object.assign(became, { state: "refused", why: [told.field, told.rule, told.lang] });
    const tx = writing();
    await tx.objectStore("entries").put(became);
    await tx.done;
    if (status === 200 || status === 422) {
      waits = 0;
      return true;
    }
    if (status === 401) signedOut = true;
    if (status === 401 || status === 403) token = "";
    // What went wrong over there with one need not with the next.
    return status === 500;
  }

  // Lot numbers for entries without signal, asked ahead and never twice.
  async function reserve() {
    if (!stock || !token || !online || !firstReading && !(await kept("device"))) return;
    await alone("numbers", async () => {
      const key = `numbers ${stock.site}`;
      const asking = `asking ${stock.site}`;
      if (((await kept(key)) || []).length >= ENOUGH) return;
      const device = (await kept("device")) || `page-${freshId().slice(0, 8)}`;
      const id = (await kept(asking)) || freshId();
      await keep("device", device);
      await keep(asking, id);
      const { status, told } = await ask("/weigh-in/numbers", {
        token, request_id: id, site: stock.site, device, count: ASK_FOR,
      });
      if (status !== 200 && status !== 422) return;
      const tx = writing();
      const store = tx.objectStore("kept");
      // From here on the browser has something to keep.
      if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
      if (status === 200) await store.put([...((await store.get(key)) || []), ...told.numbers], key);
      await store.delete(asking);
      await tx.done;
    }, () => {});
    say();
  }

  // ---- what is said ----------------------------------------------------------------

  async function say(first) {
    const state = find("[data-state]");
    const open = (await entries()).filter(isOpen);
    const words = [];
    if (first) words.push(first);
    if (!online) {
      const free = stock ? (await kept(`numbers ${stock.site}`)) || [] : [];
      words.push(w.noSignal, reopens ? w.reopens : w.staysOpen);
      if (stock) words.push(`${free.length} ${w.reserved}`);
    }
    if (!stock) words.push(w.nothingKnown);
    if (signedOut && open.length) words.push(w.signIn);
    const others = stock ? open.filter((entry) => entry.whose !== stock.whose) : [];
    if (others.length) words.push(`${w.whose} ${[...new Set(others.map((of) => of.whose.trim()))].join(", ")}.`);
    const said = words.join(" ");
    if (state.dataset.said === said) return;
    state.dataset.said = said;
    state.replaceChildren(said, ...(signedOut ? [" ", el("a", { href: "/sign-in" }, "/sign-in")] : []));
    state.hidden = !said;
  }

  function rowOf(entry) {
    const numbered = entry.number ? `${w.reservedNumber} ${entry.number}` : w.noNumber;
    const what = [el("strong", null, entry.diver), el("span", null, `${entry.net}, ${entry.payout}`)];
    if (entry.state === "booked") {
      const { ticket, payout, difference, notices } = entry.answer;
      what.push(el("a", { href: `/tickets/${ticket}` }, `${w.ticket} ${ticket}`), el("span", null, `${w.booked}, ${payout}`));
      if (difference) what.push(el("span", null, el("strong", null, `${w.difference}: ${difference}`), ` (${w.shown}: ${entry.payout})`));
      else if (entry.minor === null && payout !== entry.payout) {
        what.push(el("span", null, el("strong", null, `${w.difference}: ${payout}`), ` (${w.shown}: ${entry.payout})`));
      }
      for (const of of notices) what.push(el("span", { lang: of.lang }, of.text));
    } else {
      what.push(el("span", { class: "code" }, `${w.provisional}, ${numbered}`));
    }
    if (entry.state !== "refused") return el("li", { "data-state-of": entry.state }, el("div", null, ...what));
    const mend = el("button", { type: "button", class: "quiet" }, w.mend);
    const drop = el("button", { type: "button", class: "quiet" }, w.drop);
    mend.addEventListener("click", () => {
      fillIn(entry.fields);
      form.elements.request_id.value = entry.id;
      firstReading = BigInt(entry.first_us);
      mending = entry.n;
      mendedAsOf = BigInt(entry.as_of_us || entry.first_us);
      run(true);
      form.elements.harvester.focus();
    });
    drop.addEventListener("click", async () => {
      if (drop.textContent !== w.dropSure) {
        drop.textContent = w.dropSure;
        return;
      }
      await db.delete("entries", entry.n);
      if (mending === entry.n) mending = null;
      await list();
      drain();
    });
    what.push(el("span", null, `${w.refused} `, el("span", { lang: entry.why[2] || "" }, because(entry.why))));
    return el("li", { "data-state-of": entry.state }, el("div", null, ...what, el("p", { class: "choose dock" }, mend, drop)));
  }

  let listedAs = "[]";

  async function list() {
    const all = await entries();
    const old = all.filter((entry) => entry.state === "booked" && Date.now() - entry.ended > A_DAY_MS);
    for (const entry of old) await db.delete("entries", entry.n);
    const left = all.filter((entry) => !old.includes(entry));
    // Drawn anew only where it differs, so that a button that asks once more goes on asking.
    const as = JSON.stringify(left);
    if (as !== listedAs) find("[data-entries]").replaceChildren(...left.map(rowOf));
    listedAs = as;
    find("[data-queue]").hidden = !left.length || !find("[data-turned]").hidden;
    find("[data-send]").hidden = !all.some(isOpen);
  }

  // Lays the page by, so that it opens again without signal; only a connection that the
  // browser trusts may.
  async function layBy() {
    if (!window.isSecureContext || !navigator.serviceWorker || !window.caches) return;
    try {
      if (online && !isShell) {
        await navigator.serviceWorker.register("/sw.js", { scope: "/weigh-in" });
        const answer = await fetch("/weigh-in/shell");
        const html = await answer.clone().text();
        const paths = [...html.matchAll(/(?:src|href)="(\/look\/[^"]+)"/g)].map((found) => found[1]);
        const cache = await caches.open("weigh-in");
        await cache.addAll(paths);
        await cache.put("/weigh-in/shell", answer);
        const wanted = [...paths, "/weigh-in/shell"];
        for (const of of await cache.keys()) {
          if (!wanted.includes(new URL(of.url).pathname)) await cache.delete(of);
        }
      }
      const worker = await navigator.serviceWorker.getRegistration("/weigh-in");
      reopens = Boolean(worker) && (await caches.has("weigh-in"));
    } catch (refused) {
      reopens = false;
    }
    say();
  }

  // ---- what one does ---------------------------------------------------------------

  let typing = 0;

  form.addEventListener("input", (event) => {
    const { name } = event.target;
    if (!firstReading && stock && /(gross_\d+|fish)$/.test(name)) {
      firstReading = clockOf(stock);
      reserve();
    }
    if (name.startsWith("answer_")) return;
    clearTimeout(typing);
    typing = setTimeout(() => run(false), TYPED_MS);
  });

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const button = event.submitter;
    if (button && "more" in button.dataset) {
      const lot = button.closest("[data-lot]");
      setRows(lot, rowsOf(lot).length + MORE);
    } else if (button && "lotMore" in button.dataset) {
      setLots(lots().length + 1);
    } else {
      if (button && "undo" in button.dataset) undo();
      clearTimeout(typing);
      run(true);
    }
  });

  find("button[data-turn]").addEventListener("click", async () => {
    clearTimeout(typing);
    if (!form.reportValidity()) return;
    if (await run(true)) turn(true);
  });
  find("[data-back]").addEventListener("click", () => turn(false));
  for (const button of document.querySelectorAll("[data-book]")) {
    button.addEventListener("click", () => book(button.dataset.book));
  }
  find("[data-send]").addEventListener("click", wakeNow);
  window.addEventListener("online", wakeNow);
  window.addEventListener("offline", () => {
    online = false;
    say();
    later();
  });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") list().then(wakeNow);
  });

  find("[data-check]").hidden = true;
  find("[data-would]").hidden = false;
  if (!form.elements.request_id.value) form.elements.request_id.value = freshId();
  choose();
  await list();
  await refresh();
  choose();
  say();
  // None of these waits for another: what was kept is sent whatever else takes its time.
  layBy();
  reserve();
  drain();
  // For whoever waits until it is ready.
  form.dataset.ready = "yes";
})();
