// Starts the real program on the book of a fresh demo, gives out keys, and opens pages
// in Debian's Chromium.
"use strict";

const { execFileSync, spawn } = require("node:child_process");
const fs = require("node:fs");
const path = require("node:path");
const net = require("node:net");
const { chromium } = require("playwright-core");

const PROGRAM = process.env.WEIGHHOUSE_TEST_PROGRAM;
const FOLDER = process.env.WEIGHHOUSE_TEST_FOLDER;
const CHROMIUM = process.env.WEIGHHOUSE_TEST_CHROMIUM || "/usr/bin/chromium";

const SIZES = {
  phone: { width: 390, height: 844 },
  tablet: { width: 820, height: 1180 },
  desk: { width: 1280, height: 800 },
};

// `more` is what else is said to `serve`; `trusted` the authority of its certificate, where
// it shows one.
async function openHouse(more = [], trusted = "") {
  if (!PROGRAM || !FOLDER) throw new Error("run by tests/all, which says what to test");
  // Files of tests may run at once, each with a house of its own.
  const folder = path.join(FOLDER, `demo-${process.pid}`);
  fs.rmSync(folder, { recursive: true, force: true });
  execFileSync(PROGRAM, ["demo", "--folder", folder], { stdio: "ignore" });
  const book = `sqlite:${path.join(folder, "weighhouse.db")}`;
  const keyFile = path.join(folder, "office-key");
  const server = spawn(
    PROGRAM,
    ["serve", "--listen", "127.0.0.1:0", "--book", book, "--office-key", keyFile, ...more],
    { env: { ...process.env, RUST_LOG: "warn" }, stdio: ["ignore", "pipe", "inherit"] },
  );
  let said = "";
  const url = await new Promise((found, gone) => {
    server.on("exit", (code) => gone(new Error(`the program ended with ${code}: ${said}`)));
    server.stdout.on("data", (some) => {
      said += some;
      const line = /listening on (\S+)/.exec(said);
      if (line) found(line[1]);
    });
  });
  // The office's key is made by the demo or by the first start, whichever came first.
  const secretFile = [keyFile, `${path.join(folder, "weighhouse.db")}.office-key`].find((file) =>
    fs.existsSync(file),
  );
  const command = (...words) =>
    execFileSync(PROGRAM, [...words, "--server", url, ...(trusted ? ["--ca-file", trusted] : [])], {
      env: { ...process.env, WEIGHHOUSE_KEY_FILE: secretFile, RUST_LOG: "warn" },
      encoding: "utf8",
    });
  const key = (role, party) => {
    const whose = party ? ["--party", party] : [];
    const told = command("key", "give", "--name", `${role} page`, "--role", role, ...whose, "--json");
    return /whkey_[0-9a-f]{64}/.exec(told)[0];
  };
  const browser = await chromium.launch({ executablePath: CHROMIUM, args: ["--no-sandbox"] });
  // Puts deeds of the contract on file, in their order.
  const send = (deeds) => {
    const file = path.join(folder, `deeds-${Date.now()}.json`);
    fs.writeFileSync(file, JSON.stringify(deeds.map((deed, i) => ({ label: `${i}`, deed }))));
    return command("send", file);
  };
  // The entries of a business day, as the record has them; their documents read.
  const entries = (day) => {
    const told = JSON.parse(command("audit", "deeds", "--site", "1", "--day", day, "--json"));
    return told.answer.entries.map((of) => ({ ...of, document: JSON.parse(of.document) }));
  };
  return {
    url,
    folder,
    key,
    command,
    send,
    entries,
    office: fs.readFileSync(secretFile, "utf8").trim(),
    browser,
    async close() {
      await browser.close();
      server.kill("SIGTERM");
      await new Promise((ended) => server.once("exit", ended));
      fs.rmSync(folder, { recursive: true, force: true, maxRetries: 5, retryDelay: 200 });
    },
  };
}

// A wire to the house that can be cut: then nobody answers at its address, and what was
// under way ends in the middle.
async function layWire(url) {
  const far = new URL(url);
  let links = new Set();
  let port = 0;
  let server = null;
  let lost = "";
  const carry = (near) => {
    const away = net.connect(Number(far.port), far.hostname);
    near.on("data", (some) => {
      if (!lost || !some.includes(lost)) return;
      // The request arrives; its answer does not come back, and the wire is cut.
      lost = "";
      away.unpipe(near);
      away.once("data", () => it.cut());
      away.resume();
    });
    for (const [one, other] of [[near, away], [away, near]]) {
      links.add(one);
      one.on("error", () => {});
      one.on("close", () => { links.delete(one); other.destroy(); });
      one.pipe(other);
    }
  };
  const listen = () => new Promise((listening) => {
    server = net.createServer(carry).listen(port, "127.0.0.1", () => {
      ({ port } = server.address());
      listening();
    });
  });
  await listen();
  const it = {
    url: `http://127.0.0.1:${port}`,
    port: () => port,
    mend: listen,
    // Loses the next answer to what is sent to a path.
    loseAnswer(path) { lost = `POST ${path} `; },
    isCut: () => !server.listening,
    async cut() {
      if (!server.listening) return;
      const closed = new Promise((done) => server.close(done));
      for (const link of links) link.destroy();
      links = new Set();
      await closed;
    },
  };
  return it;
}

// A person at a page of a size, in a language; what goes wrong is kept in `troubles`.
async function sitDown(house, { size, language, dark, script = true }) {
  const context = await house.browser.newContext({
    viewport: SIZES[size],
    locale: language,
    colorScheme: dark ? "dark" : "light",
    javaScriptEnabled: script,
    isMobile: size === "phone",
    hasTouch: size === "phone",
  });
  const page = await context.newPage();
  const troubles = [];
  let bodies = [];
  page.on("console", (said) => {
    // A page that is refused is no error of the page.
    const isStatus = /Failed to load resource: the server responded with a status of 4/;
    if (said.type() === "error" && !isStatus.test(said.text())) troubles.push(said.text());
  });
  page.on("pageerror", (error) => troubles.push(String(error)));
  page.on("request", (request) => {
    if (!request.url().startsWith(house.url)) troubles.push(`asks ${request.url()}`);
  });
  page.on("response", (answer) => {
    bodies.push(answer.body().then((body) => body.length, () => 0));
  });
  return {
    page,
    troubles,
    // Opens a page; gives the bytes of it and of everything it asks for, a kept style too.
    async weigh(url) {
      bodies = [];
      await page.goto(url, { waitUntil: "load" });
      return (await Promise.all(bodies)).reduce((sum, bytes) => sum + bytes, 0);
    },
    async signIn(secret) {
      await page.goto(`${house.url}/sign-in`);
      await page.fill("#key", secret);
      await page.click("main button");
      await page.waitForURL(`${house.url}/`);
    },
    close: () => context.close(),
  };
}

module.exports = { openHouse, layWire, sitDown, CHROMIUM, SIZES };
