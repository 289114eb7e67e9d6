// People at their work, from signing in to the result; with and without a script.
"use strict";

const assert = require("node:assert/strict");
const { test, before, after } = require("node:test");
const { openHouse, sitDown } = require("./house.cjs");

let house;
before(async () => { house = await openHouse(); });
after(() => house?.close());

for (const size of ["phone", "desk"]) {
  test(`a diver at ${size} size reads a ticket and disputes a line without any script`, async () => {
    const secret = house.key("diver", "wren-haldane");
    const person = await sitDown(house, { size, language: "en", script: false });
    const { page } = person;
    await person.signIn(secret);
    await page.click("main a[href='/tickets']");
    await page.locator("main .slips a").first().click();
    const said = `counted at ${size} size`;
    await page.fill("#text", said);
    await page.click("form[action$='/dispute'] button");
    const disputes = page.locator("main .notice", { hasText: said });
    await disputes.waitFor();
    assert.equal(await disputes.count(), 1);
    await page.click("footer form button");
    await page.waitForURL(/\/sign-in$/);
    await page.goto(`${house.url}/tickets`);
    assert.match(page.url(), /\/sign-in$/, "signed out");
    assert.deepEqual(person.troubles, []);
    await person.close();
  });
}

test("every field and way is reached by the keyboard alone, in order", async () => {
  const person = await sitDown(house, { size: "desk", language: "en" });
  const { page } = person;
  await page.goto(`${house.url}/sign-in`);
  const reached = [];
  for (let i = 0; i < 8; i += 1) {
    await page.keyboard.press("Tab");
    reached.push(await page.evaluate(() => document.activeElement.textContent.trim() || document.activeElement.id));
  }
  assert.equal(reached[0], "Skip to the page");
  assert.ok(reached.includes("key") && reached.includes("Sign in"), reached.join(", "));
  assert.ok(reached.indexOf("key") < reached.indexOf("Sign in"), reached.join(", "));
  await page.fill("#key", house.key("diver", "wren-haldane"));
  await page.keyboard.press("Enter");
  await page.waitForURL(`${house.url}/`);
  await person.close();
});

for (const [size, script] of [["phone", true], ["phone", false], ["desk", true], ["desk", false]]) {
  const how = script ? "with" : "without";
  test(`a buyer at ${size} size weighs in two totes and hands over the slip, ${how} a script`, async () => {
    const person = await sitDown(house, { size, language: "es", script });
    const { page } = person;
    await person.signIn(house.key("buyer"));
    await page.click("main a[href='/weigh-in']");
    await page.selectOption("#harvester", "wren-haldane");
    await page.selectOption("#species", "PZO");
    await page.selectOption("#scale", "dock");
    await page.fill("#area", "QH-Sill");
    const totes = [["24.60", "3.60", "30"], ["12.60", "3.60", "40"]];
    for (const [i, [gross, tare, pieces]] of totes.entries()) {
      await page.fill(`#gross_${i + 1}`, gross);
      await page.fill(`#tare_${i + 1}`, tare);
      await page.fill(`#pieces_${i + 1}`, pieces);
      await page.fill(`#grade_${i + 1}`, "A");
      await page.selectOption(`#condition_${i + 1}`, { index: 1 });
    }
    if (script) {
      const said = await page.locator("[data-net] output").first().textContent();
      assert.equal(said, "= 21.00", "the net as it is typed");
      await page.focus("#probe_1");
      for (const key of ["3", "8", ".", "5"]) await page.click(`[data-key="${key}"]`);
      assert.equal(await page.inputValue("#probe_1"), "38.5", "by the keypad");
    } else {
      assert.equal(await page.locator("[data-keypad]").isVisible(), false);
      await page.fill("#probe_1", "38.5");
    }
    // Enter looks at it and books nothing; then the screen is turned to the diver.
    await page.press("#gross_1", "Enter");
    let would;
    if (script) {
      await page.locator("[data-running] .sum").waitFor();
      assert.match(await page.locator("[data-running] .caution").textContent(), /venenosas/);
      await page.click("button[data-turn]");
      would = await page.locator("[data-turned] .sum dd").textContent();
      assert.equal(await page.locator("[data-weigh-in]").isVisible(), false, "nothing but the ticket");
      await page.click("[data-back]");
      assert.equal(await page.inputValue("#gross_2"), "12.60", "and back, with all of it");
      await page.click("button[data-turn]");
      await page.click("[data-book='1']");
    } else {
      await page.locator("#checked").waitFor();
      would = await page.locator("section .sum dd").textContent();
      assert.match(await page.locator(".caution").first().textContent(), /venenosas/);
      await page.click("button[value=turn]");
      assert.match(await page.locator(".turn").textContent(), /Wren Haldane/);
      assert.equal(await page.locator(".turn .sum dd").textContent(), would);
      await page.click("button[value=book]");
    }
    await page.waitForURL(/\/tickets\/\d{19}$/);
    // 21.00 lb of 30 fish and 9.00 lb of 40: small plates and undersize, each by its band.
    assert.equal(await page.locator(".ticket .sum dd").textContent(), would);
    assert.match(await page.locator(".ticket").textContent(), /21\.00 lb/);
    assert.match(await page.locator(".ticket").textContent(), /9\.00 lb/);
    assert.deepEqual(person.troubles, []);
    await person.close();
  });
}

for (const script of [true, false]) {
  const how = script ? "with" : "without";
  test(`two species on one ticket, fish by fish, one held, and a weight taken back, ${how} a script`, async () => {
    const person = await sitDown(house, { size: "tablet", language: "en", script });
    const { page } = person;
    await person.signIn(house.key("buyer"));
    await page.click("main a[href='/weigh-in']");
    if (script) await page.locator("[data-ready]").waitFor();
    await page.selectOption("#harvester", "mara-denby");
    await page.selectOption("#species", "PZO");
    await page.selectOption("#scale", "piece");
    await page.fill("#grade_fish", "A");
    await page.fill("#area", "QH-Sill");
    if (script) {
      await page.focus("#fish");
      // The keypad goes on to the next fish.
      for (const key of ["1", ".", "1", "0", "next", "0", ".", "6", "0", "next", "9", ".", "9", "0"]) {
        await page.click(`[data-key="${key}"]`);
      }
      assert.equal(await page.inputValue("#fish"), "1.10\n0.60\n9.90");
    } else {
      await page.fill("#fish", "1.10 0.60 9.90");
    }
    await page.click("[data-undo]");
    assert.equal(await page.inputValue("#fish"), "1.10 0.60");
    await page.click("[data-lot-more]");
    await page.selectOption("#lot2_species", "LCX");
    await page.click("[data-lot='2'] [data-more]");
    await page.fill("#lot2_gross_6", "12.00");
    await page.fill("#lot2_tare_6", "2.00");
    await page.fill("#lot2_pieces_6", "4");
    await page.fill("#lot2_grade_6", "A");
    await page.check("#lot2_decision_2");
    assert.equal(await page.isChecked("#decision_1"), true, "each has its own answer");
    await page.fill("#lot2_reason", "waits for the probe");
    // 1.10 at 6.25 and 0.60 at 5.25, and 10.00 of 4 fish at 7.25.
    const sums = [["82.53 USD", "sum"], ["72.50 USD", "held"]];
    if (script) {
      const said = page.locator("[data-sum]", { hasText: "82.53 USD" });
      await said.waitFor();
      assert.equal(await said.getAttribute("aria-live"), "polite");
      await page.locator("button[data-turn]").click();
      await page.locator("[data-turned] .sum").waitFor();
      const turned = await page.locator("[data-turned]").textContent();
      for (const [sum] of sums) assert.ok(turned.includes(sum), turned);
      assert.match(turned, /Mara Denby/);
      await page.click("[data-book='2']");
    } else {
      await page.click("button[value=check]:visible");
      await page.click("button[value=turn]");
      const turned = await page.locator(".turn").textContent();
      for (const [sum] of sums) assert.ok(turned.includes(sum), turned);
      await page.click("button[value=book_absent]");
    }
    await page.waitForURL(/\/tickets\/\d{19}$/);
    const ticket = await page.locator("main").textContent();
    for (const shown of ["Lionfish", "Hogfish", "82.53 USD", "72.50 USD", "diver absent"]) {
      assert.ok(ticket.includes(shown), shown);
    }
    assert.deepEqual(person.troubles, []);
    await person.close();
  });
}

for (const size of ["phone", "desk"]) {
  test(`at the table a cut is recorded with the timer's minutes, at ${size} size`, async () => {
    const person = await sitDown(house, { size, language: "en" });
    const { page } = person;
    await person.signIn(house.key("buyer"));
    await page.click("main a[href='/cut']");
    const lot = await page.locator("#on-hand option").first().getAttribute("value");
    const [start, stop] = [0, 1].map((n) => page.locator("[data-timer] button").nth(n));
    await start.click();
    await page.fill("#from_1", lot);
    await page.fill("#in_1", "2.00");
    await page.fill("#out_6", "0.60");
    await page.check("#not_weighed_8");
    await page.fill("#specification", "skinless");
    await page.selectOption("#cutter", { index: 1 });
    await stop.click();
    assert.match(await page.inputValue("#minutes"), /^\d+\.\d$/);
    await page.click("form.dock > button");
    await page.locator(".ticket .sum").waitFor();
    assert.match(await page.locator(".ticket .sum dd").textContent(), /^30\.00 %$/);
    assert.match(await page.locator(".caution").textContent(), /spines stay venomous/);
    assert.deepEqual(person.troubles, []);
    await person.close();
  });
}

for (const size of ["phone", "desk"]) {
  test(`a kitchen reads its suppliers' yields and saves the figures, at ${size} size`, async () => {
    const person = await sitDown(house, { size, language: "es" });
    const { page } = person;
    await person.signIn(house.key("kitchen", "varnley-kitchen"));
    await page.click("main a[href='/yields']");
    const chart = page.locator("figure svg").first();
    assert.ok((await chart.locator("title").count()) && (await chart.locator("desc").count()));
    const saved = page.waitForEvent("download");
    await page.locator("a[href*='.csv']").first().click();
    const file = await (await saved).path();
    const lines = require("node:fs").readFileSync(file, "utf8").trim().split("\n");
    assert.ok(lines.length > 1, lines.join("\n"));
    assert.deepEqual(person.troubles, []);
    await person.close();
  });
}

for (const size of ["phone", "desk"]) {
  test(`the office sees to the flag with most at stake and hands a diver a link, at ${size} size`, async () => {
    const person = await sitDown(house, { size, language: "en" });
    const { page } = person;
    await person.signIn(house.office);
    await page.click("main a[href='/flags']");
    const flags = page.locator("article.flag");
    const before = await flags.count();
    assert.ok(before > 1, "the demo's week has some");
    const first = await flags.first().textContent();
    await flags.first().locator("input[name=reason]").fill("sold this morning");
    await flags.first().locator("button").click();
    await page.waitForURL(/\/flags$/);
    assert.equal(await flags.count(), before - 1);
    assert.notEqual(await flags.first().textContent(), first);
    house.key("diver", "jonas-brandeth");
    await page.goto(`${house.url}/keys`);
    const key = page.locator("article.flag", { hasText: "diver jonas-brandeth" }).first();
    await key.locator("form[action$='/link'] button").click();
    const link = (await page.locator("main .code strong").textContent()).trim();
    const phone = await sitDown(house, { size: "phone", language: "es" });
    await phone.page.goto(link);
    await phone.page.click("main button");
    await phone.page.waitForURL(`${house.url}/`);
    assert.match(await phone.page.locator("footer").textContent(), /buzo jonas-brandeth/);
    assert.deepEqual([...person.troubles, ...phone.troubles], []);
    await phone.close();
    await person.close();
  });
}
