// A tablet at the dock whose wire to the house may be cut, and what is done at it.
"use strict";

const assert = require("node:assert/strict");
const path = require("node:path");
const { chromium } = require("playwright-core");
const { layWire, CHROMIUM, SIZES } = require("./house.cjs");

// A tablet with a profile on disk, behind a wire of its own to a house: at a loopback
// address, or over TLS under a host's name.
async function tablet(t, house, name, { host, args = [], ...options } = {}) {
  const wire = await layWire(house.url);
  const profile = path.join(house.folder, `profile-${name}`);
  const troubles = [];
  const it = { wire, profile, troubles, url: host ? `https://${host}:${wire.port()}` : wire.url };
  it.open = async () => {
    it.context = await chromium.launchPersistentContext(profile, {
      executablePath: CHROMIUM, args: ["--no-sandbox", ...args], viewport: SIZES.tablet, locale: "en", ...options,
    });
    it.page = it.context.pages()[0] || (await it.context.newPage());
    it.page.on("pageerror", (error) => troubles.push(String(error)));
    return it.page;
  };
  it.signIn = async (secret) => {
    await it.page.goto(`${it.url}/sign-in`);
    await it.page.fill("#key", secret);
    await it.page.click("main button");
    await it.page.waitForURL(`${it.url}/`);
  };
  it.weighIn = async () => {
    await it.page.goto(`${it.url}/weigh-in`);
    await it.page.locator("[data-ready]").waitFor();
  };
  it.close = async () => {
    await it.context.close();
    assert.deepEqual(troubles, []);
  };
  // Also where the test ends in the middle: what is open keeps the others waiting.
  t.after(async () => {
    await it.context.close().catch(() => {});
    await wire.cut().catch(() => {});
  });
  await it.open();
  return it;
}

async function type(page, { diver = "wren-haldane", species = "PZO", gross = "24.60", pieces = "30", grade = "A" } = {}) {
  await page.selectOption("#harvester", diver);
  await page.selectOption("#species", species);
  await page.selectOption("#scale", "dock");
  await page.fill("#gross_1", gross);
  await page.fill("#tare_1", "3.60");
  await page.fill("#pieces_1", pieces);
  await page.fill("#grade_1", grade);
  await page.fill("#area", "QH-Sill");
}

async function confirm(page) {
  await page.click("button[data-turn]");
  await page.click("[data-book='1']");
}

const rows = (page, state) => page.locator(state ? `[data-entries] [data-state-of=${state}]` : "[data-entries] li");
// Until so many entries of a state are listed.
async function until(page, state, n) {
  const listed = ([of, count]) => document.querySelectorAll(`[data-entries] [data-state-of=${of}]`).length === count;
  await page.waitForFunction(listed, [state, n], { timeout: 60_000 }).catch(async () => {
    const seen = await rows(page).allTextContents();
    const told = await page.locator("p[data-state]").textContent();
    assert.fail(`${n} ${state} are awaited; "${told}"; ${seen.length}: ${seen.join(" | ")}`);
  });
}
// Until the browser has the numbers it asked for.
async function reserved(page) {
  for (let i = 0; i < 300; i += 1) {
    const free = await page.evaluate(async () => (await idb.openDB("weigh-in", 1)).get("kept", "numbers 1"));
    if (free && free.length === 50) return;
    await page.waitForTimeout(100);
  }
  throw new Error("no numbers came");
}
// Presses the button, unless what waited went by itself before.
async function sendNow(page) {
  const button = page.locator("[data-send]");
  await Promise.any([button.click(), button.waitFor({ state: "hidden" })]);
}
module.exports = { tablet, type, confirm, rows, until, reserved, sendNow };
