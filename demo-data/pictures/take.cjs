// Takes the README's pictures: the demo's book, served by the real program, in Debian's
// Chromium. Run from the root after `cargo build --release`:
//
//   NODE_PATH=FOLDER/node_modules node demo-data/pictures/take.cjs
//
// where FOLDER has what tests/package.json names. Another program or browser is named by
// WEIGHHOUSE_TEST_PROGRAM and WEIGHHOUSE_TEST_CHROMIUM.
"use strict";

const fs = require("node:fs");
const os = require("node:os");
const path = require("node:path");

process.env.WEIGHHOUSE_TEST_PROGRAM ||= path.join(__dirname, "../../target/release/weighhouse");
process.env.WEIGHHOUSE_TEST_FOLDER ||= fs.mkdtempSync(path.join(os.tmpdir(), "pictures-"));
const { openHouse, sitDown } = require("../../tests/browser/house.cjs");

// A picture of the page, no higher than `height`, from a place on it down where one is
// said; of the screen as it is where no height is.
async function take(person, name, height, from) {
  const { width } = person.page.viewportSize();
  await person.page.evaluate(() => document.activeElement?.blur());
  if (!height) {
    await person.page.screenshot({ path: path.join(__dirname, `${name}.png`) });
    console.log(`${name}.png`);
    return;
  }
  const whole = await person.page.evaluate(() => document.documentElement.scrollHeight);
  const y = from ? Math.max(0, (await from.boundingBox()).y - 16) : 0;
  const clip = { x: 0, y, width, height: Math.min(whole - y, height) };
  await person.page.screenshot({ path: path.join(__dirname, `${name}.png`), clip, fullPage: true });
  console.log(`${name}.png`);
}

async function weighIn(house) {
  const buyer = await sitDown(house, { size: "desk", language: "en" });
  await buyer.signIn(house.key("buyer"));
  const { page } = buyer;
  await page.goto(`${house.url}/weigh-in`);
  await page.locator("[data-keypad]").waitFor();
  await page.selectOption("#harvester", "wren-haldane");
  await page.selectOption("#species", "PZO");
  await page.selectOption("#scale", "dock");
  await page.fill("#gross_1", "24.60");
  await page.fill("#tare_1", "3.60");
  await page.fill("#pieces_1", "30");
  await page.fill("#grade_1", "A");
  await page.selectOption("#condition_1", { index: 1 });
  await page.fill("#area", "QH-Sill");
  await page.fill("#probe_1", "38");
  await page.press("#gross_1", "Enter");
  await page.locator("[data-running] .sum").waitFor();
  await page.evaluate(() => scrollTo(0, 0));
  await take(buyer, "weigh-in");
  await buyer.close();
}

(async () => {
  const house = await openHouse();
  try {
    await weighIn(house);
    const diver = await sitDown(house, { size: "phone", language: "en" });
    await diver.signIn(house.key("diver", "wren-haldane"));
    await diver.page.goto(`${house.url}/statement`);
    await take(diver, "statement", 1400);
    await diver.close();
    const office = await sitDown(house, { size: "desk", language: "en" });
    await office.signIn(house.key("office"));
    await office.page.goto(`${house.url}/yields`);
    const lionfish = office.page.locator("h2", { hasText: "Lionfish, whole" }).first();
    await take(office, "yields", 1200, lionfish);
    await office.page.goto(`${house.url}/days/2031-05-02`);
    await take(office, "close", 1600);
    await office.close();
  } finally {
    await house.close();
  }
})();
