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

for (const script of [true, false]) {
  const how = script ? "with" : "without";
  test(`a buyer weighs in two totes and hands over the slip, ${how} a script`, async () => {
    const person = await sitDown(house, { size: "phone", language: "es", script });
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
    // Enter looks at it and books nothing.
    await page.press("#gross_1", "Enter");
    await page.locator("#checked").waitFor();
    const would = await page.locator("section .sum dd").textContent();
    assert.match(await page.locator(".caution").first().textContent(), /venenosas/);
    await page.click("button[value=book]");
    await page.waitForURL(/\/tickets\/\d{19}$/);
    // 21.00 lb of 30 fish and 9.00 lb of 40: small plates and undersize, each by its band.
    assert.equal(await page.locator(".ticket .sum dd").textContent(), would);
    assert.match(await page.locator(".ticket").textContent(), /21\.00 lb/);
    assert.match(await page.locator(".ticket").textContent(), /9\.00 lb/);
    assert.deepEqual(person.troubles, []);
    await person.close();
  });
}

test("at the table a cut is recorded with the timer's minutes", async () => {
  const person = await sitDown(house, { size: "phone", language: "en" });
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

test("a kitchen reads its suppliers' yields and saves the figures", async () => {
  const person = await sitDown(house, { size: "phone", language: "es" });
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

test("the office sees to the flag with most at stake and hands a diver a link", async () => {
  const person = await sitDown(house, { size: "desk", language: "en" });
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
