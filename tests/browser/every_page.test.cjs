// Every page, at both sizes, in both languages, on both papers: axe finds nothing, the
// console says nothing, nobody else is asked, and it is light. Of each a picture is
// left in WEIGHHOUSE_TEST_FOLDER for whoever looks at them.
"use strict";

const assert = require("node:assert/strict");
const fs = require("node:fs");
const path = require("node:path");
const { test, before, after } = require("node:test");
const { AxeBuilder } = require("@axe-core/playwright");
const { openHouse, sitDown } = require("./house.cjs");

const LARGEST = 150_000;
const pictures = path.join(process.env.WEIGHHOUSE_TEST_FOLDER || ".", "pictures");

// Who opens which pages. A path that ends in a colon is that of the first link on the
// page above it that goes below.
const PEOPLE = {
  nobody: { pages: ["/sign-in", "/components", "/nowhere", `/sign-in/${"0".repeat(64)}`] },
  diver: {
    role: "diver",
    party: "wren-haldane",
    pages: ["/", "/tickets", "/tickets/:", "/statement", "/yields", "/prices"],
  },
  kitchen: {
    role: "kitchen",
    party: "varnley-kitchen",
    pages: ["/", "/cut", "/yields", "/lots"],
  },
  buyer: { role: "buyer", pages: ["/weigh-in", "/cut", "/plan", "/prices/new?species=PZO"] },
  office: {
    role: "office",
    pages: [
      "/", "/tickets", "/tickets/:", "/statement?party=wren-haldane", "/days", "/days/:",
      "/flags", "/yields", "/plan", "/prices", "/prices/new?species=GPR", "/parties", "/lots", "/keys",
    ],
  },
};

let house;
before(async () => {
  fs.rmSync(pictures, { recursive: true, force: true });
  fs.mkdirSync(pictures, { recursive: true });
  house = await openHouse();
});
after(() => house?.close());

// What stands in English on a Spanish page, but for the choice of English itself.
const inEnglish = (page) => page.evaluate(() => {
  const found = document.querySelectorAll('body [lang="en"]:not([href^="/language/"])');
  return [...found].map((of) => of.textContent.slice(0, 200));
});

async function look(person, name, asked, how) {
  let to = `${house.url}${asked}`;
  if (asked.endsWith(":")) {
    const start = asked.slice(0, -1);
    await person.page.goto(`${house.url}${start.slice(0, -1)}`);
    to = await person.page.locator(`main a[href^="${start}"]`).first().evaluate((a) => a.href);
  }
  const weight = await person.weigh(to);
  assert.ok(weight > 500 && weight < LARGEST, `${asked} weighs ${weight} bytes`);
  const axe = await new AxeBuilder({ page: person.page })
    .options({ rules: { "color-contrast-enhanced": { enabled: true } } })
    .analyze();
  const found = axe.violations.map((of) => {
    const where = of.nodes.map((node) => `${node.target}: ${node.failureSummary}`);
    return `${of.id}: ${where.join("; ")}`;
  });
  assert.deepEqual(found, [], `axe on ${asked}`);
  assert.ok(axe.passes.length > 10, "axe looked");
  const wide = await person.page.evaluate(
    () => document.documentElement.scrollWidth - document.documentElement.clientWidth,
  );
  assert.ok(wide <= 0, `${asked} is ${wide} px wider than the screen`);
  const small = await person.page.evaluate(() => {
    const targets = document.querySelectorAll("button, input:not([type=hidden]), select, textarea, .way, nav a");
    const isSmall = (box) => box.width > 0 && box.height < 48;
    return [...targets]
      .filter((of) => !["checkbox", "radio"].includes(of.type) && isSmall(of.getBoundingClientRect()))
      .map((of) => of.outerHTML.slice(0, 80));
  });
  assert.deepEqual(small, [], `targets below 48 px on ${asked}`);
  const file = `${name}${asked.replace(/[^a-z0-9]+/gi, "-").slice(0, 40)}-${how}.png`;
  await person.page.screenshot({ path: path.join(pictures, file), fullPage: true });
  return weight;
}

for (const [name, { role, party, pages }] of Object.entries(PEOPLE)) {
  test(`${name}: every page at both sizes, in both languages`, async () => {
    const secret = role && house.key(role, party);
    for (const size of ["phone", "desk"]) {
      for (const language of ["en", "es"]) {
        const person = await sitDown(house, { size, language });
        if (secret) await person.signIn(secret);
        for (const asked of pages) {
          const weight = await look(person, name, asked, `${size}-${language}`);
          const lang = await person.page.locator("html").getAttribute("lang");
          assert.equal(lang, language, asked);
          if (language === "es") assert.deepEqual(await inEnglish(person.page), [], asked);
          if (size === "phone" && language === "en") console.log(`# ${name} ${asked}: ${weight} bytes`);
        }
        assert.deepEqual(person.troubles, []);
        await person.close();
      }
    }
  });
}

test("in the dark every page reads as well", async () => {
  for (const [name, { role, party, pages }] of Object.entries(PEOPLE)) {
    const person = await sitDown(house, { size: "phone", language: "en", dark: true });
    if (role) await person.signIn(house.key(role, party));
    for (const asked of pages) await look(person, name, asked, "phone-dark");
    assert.deepEqual(person.troubles, []);
    await person.close();
  }
});

// On a processor four times slower: until the page's script has run and the browser has
// nothing left to do. Said, and held to nothing: the machine may be busy.
test("how long until a page answers on a slow phone is said", async () => {
  for (const [name, { role, party, pages }] of Object.entries(PEOPLE)) {
    const person = await sitDown(house, { size: "phone", language: "en" });
    if (role) await person.signIn(house.key(role, party));
    const slow = await person.page.context().newCDPSession(person.page);
    await slow.send("Emulation.setCPUThrottlingRate", { rate: 4 });
    for (const asked of pages.filter((page) => !page.endsWith(":"))) {
      await person.page.goto(`${house.url}${asked}`, { waitUntil: "load" });
      const ms = await person.page.evaluate(() => new Promise((idle) => {
        requestIdleCallback(() => idle(Math.round(performance.now())));
      }));
      assert.ok(ms > 0, asked);
      console.log(`# ${name} ${asked}: answers after ${ms} ms`);
    }
    assert.deepEqual(person.troubles, []);
    await person.close();
  }
});
