// The weigh-in beside a scale that is heard, stood for by a socket that sends invented
// lines: what its figure fills, what it does not, and what is booked as captured.
"use strict";

const assert = require("node:assert/strict");
const net = require("node:net");
const { test, before, after } = require("node:test");
const { AxeBuilder } = require("@axe-core/playwright");
const { openHouse, sitDown } = require("./house.cjs");

const LINE = "^weight (?<weight>[0-9.]+) (?<unit>[a-z]+) ?(?<stable>steady)?$";

// Tells whoever connects the same line over and over.
function openScale() {
  const scale = { says: "" };
  const server = net.createServer((socket) => {
    const ticking = setInterval(() => socket.write(`${scale.says}\r\n`), 50);
    socket.on("error", () => {});
    socket.on("close", () => clearInterval(ticking));
  });
  return new Promise((open) => {
    server.listen(0, "127.0.0.1", () => {
      open(Object.assign(scale, { port: server.address().port, close: () => server.close() }));
    });
  });
}

let house;
let scale;
before(async () => {
  scale = await openScale();
  house = await openHouse(["--scale", `1/dock=tcp:127.0.0.1:${scale.port}`]);
  house.command(
    "scale", "--site", "1", "--code", "dock", "--name", "Dock scale", "--class", "III",
    "--division", "0.05", "--capacity", "250", "--unit", "lb", "--tested-on", "2031-03-11",
    "--line", LINE,
  );
});
after(async () => {
  await house?.close();
  scale?.close();
});

async function atTheScale(size, language) {
  const person = await sitDown(house, { size, language });
  const { page } = person;
  await person.signIn(house.key("buyer"));
  await page.goto(`${house.url}/weigh-in`);
  await page.selectOption("#harvester", "wren-haldane");
  await page.selectOption("#species", "PZO");
  await page.fill("#area", "QH-Sill");
  const take = page.locator("fieldset:has(#gross_1) button.take");
  assert.equal(await take.isVisible(), false, "no scale is chosen yet");
  await page.selectOption("#scale", "dock");
  const marks = () =>
    page.$$eval("input[name=captured]", (all) => all.map((mark) => mark.value));
  const booked = async () => {
    await page.fill("#grade_1", "A");
    await page.fill("#pieces_1", "30");
    await page.selectOption("#condition_1", { index: 1 });
    await page.press("#gross_1", "Enter");
    await page.locator("[data-running] .sum").waitFor();
    await page.click("button[data-turn]");
    await page.click("[data-book='1']");
    await page.waitForURL(/\/tickets\/\d{19}$/);
    return page.locator(".ticket").textContent();
  };
  const says = async (line, shown) => {
    scale.says = line;
    await take.filter({ hasText: shown }).waitFor();
  };
  return { person, page, take, marks, booked, says };
}

for (const size of ["phone", "desk"]) {
  test(`a figure at rest fills the field and is captured, at ${size} size`, async () => {
    const { person, page, take, marks, booked, says } = await atTheScale(size, "en");
    await says("weight 24.40 lb", "24.40 lb: not at rest yet");
    await take.click({ force: true });
    assert.equal(await page.inputValue("#gross_1"), "", "it moved");
    await says("weight 24.60 lb steady", "Gross, from the scale: 24.60 lb");
    const box = await take.boundingBox();
    assert.ok(box.height >= 64 && box.width >= 64, `${box.width} x ${box.height}`);
    const found = await new AxeBuilder({ page })
      .options({ rules: { "color-contrast-enhanced": { enabled: true } } })
      .analyze();
    assert.deepEqual(found.violations.map((of) => of.id), []);
    await take.click();
    assert.equal(await page.inputValue("#gross_1"), "24.60");
    // The tare field is where the next figure goes once it was touched.
    await page.focus("#tare_1");
    await says("weight 3.60 lb steady", "Tare, from the scale: 3.60 lb");
    await take.click();
    assert.equal(await page.inputValue("#tare_1"), "3.60");
    assert.equal(await page.locator("[data-net] output").first().textContent(), "= 21.00");
    // Another unit than the page's fills nothing.
    await says("weight 1.63 kg steady", "1.63 kg: another unit than this page");
    await take.click({ force: true });
    assert.equal(await page.inputValue("#tare_1"), "3.60");
    assert.deepEqual(await marks(), ["24.60 lb", "3.60 lb"]);
    assert.match(await booked(), /24\.60 lb \(dock, captured\) - 3\.60 lb \(dock, captured\)/);
    assert.deepEqual(person.troubles, []);
    await person.close();
  });
}

test("a figure that somebody edits is keyed again, by the keyboard or the keypad", async () => {
  const { person, page, take, marks, booked, says } = await atTheScale("phone", "es");
  await says("weight 24.60 lb steady", "de la báscula: 24.60 lb");
  await take.click();
  await page.focus("#tare_1");
  await says("weight 3.60 lb steady", "3.60 lb");
  await take.click();
  assert.deepEqual(await marks(), ["24.60 lb", "3.60 lb"]);
  await page.focus("#gross_1");
  await page.keyboard.press("End");
  await page.keyboard.press("Backspace");
  await page.keyboard.type("5");
  assert.deepEqual(await marks(), ["3.60 lb"]);
  await page.focus("#tare_1");
  await page.click("[data-key=back]");
  await page.click("[data-key='0']");
  assert.equal(await page.inputValue("#tare_1"), "3.60", "the same figure, by hand");
  assert.deepEqual(await marks(), []);
  assert.match(await booked(), /24\.65 lb \(dock\) - 3\.60 lb \(dock\)/);
  assert.deepEqual(person.troubles, []);
  await person.close();
});

test("fish go one by one from the scale, and one that is typed is keyed", async () => {
  const { person, page, marks, says } = await atTheScale("phone", "en");
  const take = page.locator("fieldset:has(#fish) button.take");
  for (const weight of ["1.15", "1.20"]) {
    await says(`weight ${weight} lb steady`, `${weight} lb`);
    await take.click();
  }
  await page.focus("#fish");
  await page.keyboard.press("Control+End");
  await page.keyboard.type("1.25 ");
  assert.equal(await page.inputValue("#fish"), "1.15 1.20 1.25 ");
  assert.deepEqual(await marks(), ["1.15 lb", "1.20 lb"]);
  // What stood there from the scale and is changed is no longer its figure.
  await page.fill("#fish", "1.15 1.30 1.25");
  assert.deepEqual(await marks(), ["1.15 lb"]);
  await page.fill("#grade_fish", "A");
  await page.selectOption("#condition_fish", { index: 1 });
  await page.press("#grade_fish", "Enter");
  await page.locator("[data-running] .sum").waitFor();
  assert.deepEqual(await marks(), ["1.15 lb"], "kept over the check");
  await page.fill("#fish", "1.20 1.30 1.25");
  assert.deepEqual(await marks(), [], "and still dropped when it is typed over");
  assert.deepEqual(person.troubles, []);
  await person.close();
});
