// Without signal: entries wait in the browser, on its disk, and each is booked once,
// whatever ends in the middle: the wire, the browser, the session.
"use strict";

const assert = require("node:assert/strict");
const fs = require("node:fs");
const path = require("node:path");
const { test, before, after } = require("node:test");
const { AxeBuilder } = require("@axe-core/playwright");
const { openHouse } = require("./house.cjs");
const received = require("../../services/pages/look/received.js");
const { tablet, type, confirm, rows, until, reserved, sendNow } = require("./tablet.cjs");

// The demo's last night has run on this day.
const DAY = "2031-05-05";
const FORTY = 40;
const pictures = path.join(process.env.WEIGHHOUSE_TEST_FOLDER || ".", "pictures-offline");

let house;
before(async () => {
  fs.mkdirSync(pictures, { recursive: true });
  house = await openHouse();
});
after(() => house?.close());

// The browser's own process: the one with this profile that no other of them started.
function kill(profile) {
  const found = fs.readdirSync("/proc").filter((pid) => {
    if (!/^\d+$/.test(pid)) return false;
    try {
      const words = fs.readFileSync(`/proc/${pid}/cmdline`, "utf8").split("\0");
      return words.includes(`--user-data-dir=${profile}`) && !words.some((word) => word.startsWith("--type="));
    } catch (ended) {
      return false;
    }
  });
  assert.equal(found.length, 1, "one browser has this profile");
  process.kill(Number(found[0]), "SIGKILL");
}

// What a page looks like in the middle of its work: axe finds nothing, no target is small,
// and a picture is left.
async function look(page, name) {
  const axe = await new AxeBuilder({ page }).options({ rules: { "color-contrast-enhanced": { enabled: true } } }).analyze();
  assert.deepEqual(axe.violations.map((of) => `${of.id}: ${of.nodes.map((node) => node.target).join("; ")}`), [], name);
  assert.ok(axe.passes.length > 10, "axe looked");
  const small = await page.evaluate(() => [...document.querySelectorAll("main button, main select, main textarea")]
    .map((of) => [of, of.getBoundingClientRect()])
    .filter(([, box]) => box.width > 0 && box.height < 64)
    .map(([of]) => of.outerHTML.slice(0, 80)));
  assert.deepEqual(small, [], `targets below 64 px: ${name}`);
  await page.screenshot({ path: path.join(pictures, `${name}.png`), fullPage: true });
}

const said = (page, words) => page.locator("p[data-state]", { hasText: words }).waitFor();
const weighIns = () => house.entries(DAY).filter((entry) => entry.kind === "weigh_in");
const words = () => house.entries(DAY).filter((entry) => entry.kind === "device_word");
const device = (page) => page.evaluate(async () => (await idb.openDB("weigh-in", 1)).get("kept", "device"));

test("cut off in the middle, forty lots, the browser killed and reopened: all are booked once", { timeout: 400_000 }, async (t) => {
  const it = await tablet(t, house, "forty");
  const secret = house.key("buyer");
  await it.signIn(secret);
  await it.weighIn();
  let { page } = it;
  // With signal first: booked at once, and this browser gets numbers for when there is none.
  await type(page);
  await reserved(page);
  await confirm(page);
  await page.waitForURL(/\/tickets\/\d{19}$/);
  const own = weighIns();
  await it.weighIn();

  // The wire is cut with an entry half typed.
  await page.selectOption("#harvester", "wren-haldane");
  await page.fill("#gross_1", "24.6");
  await it.wire.cut();
  for (let i = 0; i < FORTY; i += 1) {
    await type(page, { gross: (20 + i / 4).toFixed(2), pieces: String(20 + (i % 9)), diver: i % 2 ? "jonas-brandeth" : "wren-haldane" });
    await confirm(page);
    await until(page, "waiting", i + 1);
  }
  const shown = await rows(page, "waiting").allTextContents();
  const numbers = shown.map((text) => /provisional, number reserved (\d{19})/.exec(text)?.[1]);
  assert.equal(new Set(numbers).size, FORTY, shown[0]);
  assert.match(await page.locator("p[data-state]").textContent(), /No signal.*opens again without signal.*10 lot numbers/);
  assert.equal(weighIns().length, own.length, "nothing reached the house");

  const gone = it.context.waitForEvent("close");
  kill(it.profile);
  await gone;
  page = await it.open();
  await page.goto(`${it.url}/weigh-in`);
  await until(page, "waiting", FORTY);
  assert.deepEqual(await rows(page, "waiting").allTextContents(), shown, "as they were, without signal");
  // It can still be worked with.
  await page.selectOption("#harvester", "wren-haldane");
  await look(page, "reopened-tablet-en");

  await it.wire.mend();
  await page.click("[data-send]");
  // A browser writes its cookies down every half a minute: killed before, it has lost its
  // session, and nothing else.
  const asks = page.locator("p[data-state] a[href='/sign-in']");
  await asks.or(rows(page, "booked").nth(FORTY - 1)).first().waitFor({ timeout: 60_000 });
  if (await asks.count()) {
    assert.equal(weighIns().length, own.length);
    await it.signIn(secret);
    await page.goto(`${it.url}/weigh-in`);
  }
  await until(page, "booked", FORTY);
  const tickets = await rows(page, "booked").locator("a").evaluateAll((all) => all.map((a) => a.textContent));
  assert.equal(new Set(tickets).size, FORTY, tickets.join(", "));
  const booked = weighIns().slice(own.length);
  const asked = booked.map((entry) => entry.document.asked);
  assert.equal(booked.length, FORTY, "by the record of the house");
  assert.deepEqual(asked.map((of) => of.lot_number), numbers, "in their order, each with its number");
  assert.equal(new Set(booked.map((entry) => entry.requestId)).size, FORTY);
  const name = await device(page);
  assert.match(name, /^page-[0-9a-f]{8}$/);
  assert.ok(asked.every((of) => of.device === name && of.offline_payout && of.first_reading_us));
  const differ = booked.filter((entry) => entry.document.outcome.adjustments.length);
  assert.equal(differ.length, 0, "and what the diver was shown is what was paid");
  const last = words().at(-1).document.asked;
  assert.deepEqual([last.device, last.queued, last.resolved], [name, "40", "40"], "the close knows that nothing is left");

  // An answer that was lost: sent again it is the first one, and nothing more is booked.
  const before = await rows(page, "booked").first().locator("a").getAttribute("href");
  await page.evaluate(async () => {
    const db = await idb.openDB("weigh-in", 1);
    const [first] = await db.getAll("entries");
    await db.put("entries", { ...first, state: "waiting", answer: undefined });
  });
  await page.reload();
  await until(page, "booked", FORTY);
  assert.equal(await rows(page, "booked").first().locator("a").getAttribute("href"), before);
  await page.reload();
  await page.locator("[data-ready]").waitFor();
  assert.equal(weighIns().length, own.length + FORTY);
  // Two tabs at once neither.
  await page.evaluate(async () => {
    const db = await idb.openDB("weigh-in", 1);
    for (const of of await db.getAll("entries")) await db.put("entries", { ...of, state: "waiting" });
  });
  const other = await it.context.newPage();
  await Promise.all([page.reload(), other.goto(`${it.url}/weigh-in`)]);
  await until(page, "booked", FORTY);
  assert.equal(weighIns().length, own.length + FORTY, "still once each");
  // And what another tab sent while this one waited for its turn is listed as sent.
  const become = (state) => other.evaluate(async (of) => {
    const db = await idb.openDB("weigh-in", 1);
    for (const entry of await db.getAll("entries")) await db.put("entries", { ...entry, state: of });
  }, state);
  await other.evaluate(() => new Promise((mine) => {
    navigator.locks.request("weigh-in queue", () => new Promise((done) => { window.giveUp = done; mine(); }));
  }));
  await become("waiting");
  await page.reload();
  await until(page, "waiting", FORTY);
  await page.locator("[data-ready]").waitFor();
  await become("booked");
  await other.evaluate(() => window.giveUp());
  await until(page, "booked", FORTY);
  await it.close();
});

test("an answer that is lost on its way is asked for again, and the ticket is booked once", { timeout: 120_000 }, async (t) => {
  const it = await tablet(t, house, "answer");
  await it.signIn(house.key("buyer"));
  await it.weighIn();
  const { page } = it;
  await type(page, { gross: "33.60" });
  await page.click("button[data-turn]");
  await page.locator("[data-turned] .sum").waitFor();
  const before = weighIns().length;
  it.wire.loseAnswer("/weigh-in/queued");
  await page.click("[data-book='1']");
  await until(page, "waiting", 1);
  assert.ok(it.wire.isCut());
  assert.equal(weighIns().length, before + 1, "the house has it, and the browser does not know");
  assert.match(await rows(page).textContent(), /provisional, its number comes with the answer/);
  // What was never answered is no reason to stop.
  await type(page, { gross: "43.60" });
  await confirm(page);
  await until(page, "waiting", 2);
  await it.wire.mend();
  await sendNow(page);
  await until(page, "booked", 2);
  const all = weighIns();
  assert.equal(all.length, before + 2);
  const hrefs = await rows(page, "booked").locator("a").evaluateAll((links) => links.map((a) => a.getAttribute("href")));
  assert.deepEqual(hrefs, all.slice(before).map((entry) => `/tickets/${entry.id}`));
  await it.close();
});

test("a price that changed meanwhile binds as it was shown, and the difference is said", { timeout: 120_000 }, async (t) => {
  // A species without tickets, so that its list may change at once.
  const list = (high) => ({
    priceList: {
      requestId: crypto.randomUUID(),
      priceList: {
        site: 1, species: "SNR", effectiveFrom: "2031-04-01T08:00:00Z", bandBy: "BAND_BY_PIECE",
        pricePer: "WEIGHT_UNIT_LB", edgeUnit: "WEIGHT_UNIT_LB",
        presentations: [{ presentation: "PRESENTATION_WHOLE", plateMinimum: "0.50", grades: [{ grade: "A", bands: [
          { from: "0", to: "0.50", price: "1.00", name: "below plate" }, { from: "0.50", price: high, name: "plate" },
        ] }] }],
      },
    },
  });
  const species = { species: { requestId: crypto.randomUUID(), species: { code: "SNR", name: "Red snapper" } } };
  house.send([species, list("6.00")]);
  const it = await tablet(t, house, "price");
  await it.signIn(house.key("buyer"));
  await it.weighIn();
  const { page } = it;
  await page.fill("#gross_1", "1");
  await reserved(page);
  await it.wire.cut();
  house.send([list("5.50")]);
  await type(page, { species: "SNR", gross: "23.60", pieces: "20" });
  await confirm(page);
  await until(page, "waiting", 1);
  assert.match(await rows(page).textContent(), /20\.00 lb, 120\.00 USD/);
  await it.wire.mend();
  await page.click("[data-send]");
  await until(page, "booked", 1);
  assert.match(await rows(page).textContent(), /booked, 120\.00 USD.*difference: 10\.00 USD.*shown to the diver: 120\.00 USD/);
  const { outcome } = weighIns().at(-1).document;
  assert.equal(outcome.adjustments[0].name, "price shown offline");
  await it.close();
});

test("where the browser reopens nothing the page says so, keeps entries while it is open, and sends by itself", { timeout: 120_000 }, async (t) => {
  const it = await tablet(t, house, "open", { serviceWorkers: "block", locale: "es" });
  await it.signIn(house.key("buyer"));
  await it.weighIn();
  const { page } = it;
  await page.fill("#gross_1", "1");
  await reserved(page);
  const before = weighIns().length;
  await it.context.setOffline(true);
  await page.locator("p[data-state]", { hasText: "solo mientras esta página esté abierta" }).waitFor();
  await type(page);
  await page.click("button[data-turn]");
  await look(page, "turned-tablet-es");
  await page.click("[data-book='2']");
  await until(page, "waiting", 1);
  await look(page, "kept-tablet-es");
  await type(page, { gross: "18.60" });
  await page.locator("[data-running] .sum").waitFor();
  await page.locator("#answer_cull").waitFor();
  await look(page, "running-tablet-es");

  await it.context.setOffline(false);
  await until(page, "booked", 1);
  assert.equal(weighIns().length, before + 1);
  assert.equal(weighIns().at(-1).document.asked.confirmation, "diver absent");
  await it.close();
});

test("what the house refuses stays with its reason, is mended or dropped, and is never lost", { timeout: 120_000 }, async (t) => {
  const it = await tablet(t, house, "mend");
  await it.signIn(house.key("buyer"));
  await it.weighIn();
  const { page } = it;
  await page.fill("#gross_1", "1");
  await reserved(page);
  const before = weighIns().length;
  await it.wire.cut();
  for (const [i, grade] of ["Z", "Y", "A"].entries()) {
    await type(page, { grade });
    await confirm(page);
    await until(page, "waiting", i + 1);
  }
  assert.match(await rows(page).first().textContent(), /price not known without signal/);
  const number = /reserved (\d{19})/.exec(await rows(page).first().textContent())[1];
  await it.wire.mend();
  await page.click("[data-send]");
  await until(page, "booked", 1);
  await until(page, "refused", 2);
  assert.match(await rows(page, "refused").first().textContent(), /Not booked: Lot 1, weighing 1: .*grade/);
  await look(page, "refused-tablet-en");
  assert.equal(weighIns().length, before + 1, "one that is refused holds up no other");
  const told = () => words().at(-1).document.asked;
  assert.deepEqual([told().queued, told().resolved], ["3", "1"], "the close knows of two");

  await rows(page, "refused").first().locator("button", { hasText: "Mend" }).click();
  assert.equal(await page.inputValue("#grade_1"), "Z");
  await page.fill("#grade_1", "A");
  await confirm(page);
  await page.waitForURL(/\/tickets\/\d{19}$/);
  assert.equal(weighIns().at(-1).document.asked.lot_number, number, "under the number it had");
  await it.weighIn();
  const drop = rows(page, "refused").locator("button", { hasText: "Drop" });
  await drop.click();
  assert.equal(await rows(page, "refused").count(), 1, "asked once more");
  await drop.click();
  await until(page, "refused", 0);
  await page.reload();
  await page.locator("[data-ready]").waitFor();
  assert.equal(await rows(page, "refused").count(), 0);
  assert.equal(weighIns().length, before + 2);
  const isTold = () => told().queued === "1" && told().resolved === "1";
  for (let i = 0; i < 50 && !isTold(); i += 1) await page.waitForTimeout(100);
  assert.deepEqual([told().queued, told().resolved], ["1", "1"], "and in the end of none");
  await it.close();
});

test("warm fish and short fish are told at the dock before the diver confirms, not when there is signal again", { timeout: 120_000 }, async (t) => {
  const it = await tablet(t, house, "warm");
  await it.signIn(house.key("buyer"));
  await it.weighIn();
  const { page } = it;
  await page.fill("#gross_1", "1");
  await reserved(page);
  await it.wire.cut();
  await type(page);
  await page.fill("#probe_1", "52");
  await page.locator("[data-sum]", { hasText: "Probe 1: is above the site's limit" }).waitFor();
  await page.click("button[data-turn]");
  assert.equal(await page.locator("[data-turned]").isVisible(), false, "the diver is shown nothing");
  // Iced forty minutes ago, by the site's clock.
  const { now_us: now, zone } = await page.evaluate(async () => (await idb.openDB("weigh-in", 1)).get("kept", "stock"));
  const clock = received.shown(BigInt(now), zone);
  await page.fill("#iced_at", received.clock(clock - 40).slice(11));
  await page.selectOption("#ice_around", "yes");
  const again = `Probe it again by ${received.clock(clock + 4 * 60)}`;
  await page.locator("[data-running]", { hasText: again }).waitFor();
  const shown = await page.locator("[data-running]").textContent();
  for (const words of [`Iced at${received.clock(clock - 40)}`, "failedcold (41 F)", "not setlegal length, season, trip limit"]) {
    assert.ok(shown.includes(words), `${words}: ${shown}`);
  }
  await look(page, "warm-tablet-en");
  await confirm(page);
  await until(page, "waiting", 1);

  // The demo's site has a legal length of 19 in for grouper.
  await type(page, { species: "GPR", gross: "12.60", pieces: "1" });
  await page.selectOption("#presentation", { label: "gutted" });
  await page.locator("[data-running]", { hasText: "not knownlegal length (19 in)" }).waitFor();
  await page.fill("#smallest", "18.9");
  await page.locator("[data-sum]", { hasText: "below the legal length" }).waitFor();
  await page.fill("#smallest", "19");
  await page.locator("[data-running]", { hasText: /passedlegal length/ }).waitFor();
  await page.fill("#iced_at", received.clock(clock + 20).slice(11));
  await page.locator("[data-sum]", { hasText: "lies ahead of the site's clock" }).waitFor();
  await page.fill("#iced_at", "");
  await confirm(page);
  await until(page, "waiting", 2);

  await it.wire.mend();
  await page.click("[data-send]");
  await until(page, "booked", 2);
  const [warm, grouper] = weighIns().slice(-2).map((entry) => entry.document);
  const minute = 60_000_000n;
  assert.equal(BigInt(warm.asked.lots[0].receiving.iced_us), BigInt(now) - (BigInt(now) % minute) - 40n * minute);
  assert.ok(warm.outcome.lots[0].received.reprobe_due_us, "and the house has it probed again");
  assert.equal(grouper.asked.lots[0].receiving.smallest_length.text, "19");
  await it.close();
});

// One entry kept without signal by somebody whose session is over when there is some.
async function keptWithoutSession(it, secret) {
  await it.signIn(secret);
  await it.weighIn();
  const { page } = it;
  await page.fill("#gross_1", "1");
  await reserved(page);
  await it.wire.cut();
  await type(page);
  await confirm(page);
  await until(page, "waiting", 1);
  await it.context.clearCookies({ name: "weighhouse" });
  await it.wire.mend();
  await page.click("[data-send]");
  return page;
}

test("a house that is busy when somebody signs in again on another tab is asked until it answers", { timeout: 120_000 }, async (t) => {
  const it = await tablet(t, house, "busy", { serviceWorkers: "block" });
  const secret = house.key("buyer");
  const before = weighIns().length;
  const page = await keptWithoutSession(it, secret);
  await said(page, "Sign in, then they are sent");
  // From here on this page is not touched.
  let busy = 2;
  await page.route("**/weigh-in/stock", (route) => {
    busy -= 1;
    return busy < 0 ? route.continue() : route.fulfill({ status: 503, body: "" });
  });
  it.page = await it.context.newPage();
  await it.signIn(secret);
  await until(page, "booked", 1);
  assert.ok(busy < 0, "it was asked while it was busy");
  assert.equal(weighIns().length, before + 1);
  await it.close();
});

test("a session that ended loses nothing: sign in, and they are sent", { timeout: 120_000 }, async (t) => {
  const it = await tablet(t, house, "session");
  const secret = house.key("buyer");
  const before = weighIns().length;
  const page = await keptWithoutSession(it, secret);
  await page.locator("p[data-state]", { hasText: "Sign in, then they are sent" }).waitFor();
  assert.equal(weighIns().length, before);
  // Somebody else's session does not send them as theirs.
  await it.signIn(house.office);
  await it.weighIn();
  assert.match(await page.locator("p[data-state]").textContent(), /somebody else.*buyer/);
  assert.equal(weighIns().length, before);

  // Signing out forgets names and prices and keeps what was not sent.
  await page.click("footer form[action='/sign-out'] button");
  await page.waitForURL(/\/sign-in$/);
  await page.locator("[data-kept]").waitFor();
  assert.match(await page.locator("[data-kept]").textContent(), /not sent yet are still kept/);
  const left = await page.evaluate(() => new Promise((told) => {
    const opened = indexedDB.open("weigh-in");
    opened.onsuccess = () => {
      const kept = opened.result.transaction("kept").objectStore("kept").getAllKeys();
      kept.onsuccess = async () => {
        opened.result.close();
        told({ kept: kept.result, caches: await caches.keys() });
      };
    };
  }));
  assert.ok(!left.kept.includes("stock"), left.kept.join(", "));
  assert.deepEqual(left.caches, []);

  await it.signIn(secret);
  await it.weighIn();
  await until(page, "booked", 1);
  assert.equal(weighIns().length, before + 1);
  // And what was sent is forgotten by the next one.
  await page.click("footer form[action='/sign-out'] button");
  await page.waitForURL(/\/sign-in$/);
  await it.signIn(secret);
  await it.weighIn();
  assert.equal(await rows(page).count(), 0);
  await it.close();
});
