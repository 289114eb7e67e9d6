// Over TLS, under a host's name and not on loopback: with the site's authority on the tablet
// the page opens again without signal; without it the page says that it goes on only while
// it stays open. The authority and the certificate are those the program makes; trusted is
// it as on any Debian, by certutil in the home of whoever runs the browser.
"use strict";

const assert = require("node:assert/strict");
const { execFileSync } = require("node:child_process");
const fs = require("node:fs");
const path = require("node:path");
const { test, before, after } = require("node:test");
const { openHouse } = require("./house.cjs");
const { tablet, type, confirm, rows, until, reserved } = require("./tablet.cjs");

const DAY = "2031-05-05";
// A name that is nobody's (RFC 2606).
const HOST = "dock.example";
const PROGRAM = process.env.WEIGHHOUSE_TEST_PROGRAM;
const folder = path.join(process.env.WEIGHHOUSE_TEST_FOLDER || ".", `tls-${process.pid}`);

let house;
before(async () => {
  fs.rmSync(folder, { recursive: true, force: true });
  fs.mkdirSync(folder, { recursive: true });
  execFileSync(PROGRAM, ["certificate", "--folder", folder, "--name", HOST, "--name", "127.0.0.1"]);
  const file = (name) => path.join(folder, name);
  house = await openHouse(
    ["--tls-certificate", file("service.pem"), "--tls-key", file("service-key.pem")],
    file("site-authority.pem"),
  );
});
after(async () => {
  await house?.close();
  fs.rmSync(folder, { recursive: true, force: true });
});

// A home in which the site's authority is trusted, or nobody but whom the browser knows.
function home(isTrusting) {
  const at = path.join(folder, isTrusting ? "home-trusting" : "home");
  const store = path.join(at, ".pki", "nssdb");
  fs.mkdirSync(store, { recursive: true });
  const certutil = (...words) => execFileSync("certutil", ["-d", `sql:${store}`, ...words]);
  certutil("-N", "--empty-password");
  if (isTrusting) certutil("-A", "-t", "C,,", "-n", "site", "-i", path.join(folder, "site-authority.pem"));
  return { ...process.env, HOME: at, XDG_CONFIG_HOME: path.join(at, ".config"), XDG_DATA_HOME: path.join(at, ".local/share") };
}

const at = (isTrusting) => ({
  host: HOST,
  args: [`--host-resolver-rules=MAP ${HOST} 127.0.0.1`, "--no-proxy-server"],
  env: home(isTrusting),
});
const weighIns = () => house.entries(DAY).filter((entry) => entry.kind === "weigh_in");
const said = (page, words) => page.locator("p[data-state]", { hasText: words }).waitFor();

test("with the site's authority on the tablet the page opens again without signal", { timeout: 120_000 }, async (t) => {
  const it = await tablet(t, house, "trusting", at(true));
  await it.signIn(house.key("buyer"));
  const [cookie] = (await it.context.cookies()).filter(({ name }) => name === "__Host-weighhouse");
  assert.ok(cookie.secure && cookie.httpOnly && cookie.domain === HOST, JSON.stringify(cookie));
  await it.weighIn();
  let { page } = it;
  await page.fill("#gross_1", "1");
  await reserved(page);
  await page.evaluate(() => navigator.serviceWorker.ready);
  await it.weighIn();
  const controller = await page.evaluate(() => navigator.serviceWorker.controller?.scriptURL);
  assert.equal(controller, `${it.url}/sw.js`);
  const before = weighIns().length;

  await it.wire.cut();
  await it.context.close();
  page = await it.open();
  await it.weighIn();
  await said(page, "opens again without signal");
  for (const [i, gross] of ["24.60", "33.60"].entries()) {
    await type(page, { gross });
    await confirm(page);
    await until(page, "waiting", i + 1);
  }
  assert.equal(weighIns().length, before);

  await it.wire.mend();
  await page.click("[data-send]");
  await until(page, "booked", 2);
  await page.reload();
  await page.locator("[data-ready]").waitFor();
  assert.equal(await rows(page, "booked").count(), 2);
  assert.equal(weighIns().length, before + 2, "each is booked once");
  await it.close();
});

test("past a certificate that nobody vouches for, the page says that it goes on only while it stays open", { timeout: 120_000 }, async (t) => {
  const it = await tablet(t, house, "trusting-nobody", at(false));
  const { page } = it;
  await assert.rejects(page.goto(`${it.url}/sign-in`), /ERR_CERT_AUTHORITY_INVALID/);
  // As a person goes on who is told not to.
  await page.click("#details-button");
  await page.click("#proceed-link");
  await page.waitForURL(`${it.url}/sign-in`);
  await it.signIn(house.key("buyer"));
  await it.weighIn();
  await page.fill("#gross_1", "1");
  await reserved(page);
  assert.equal(await page.evaluate(async () => (await navigator.serviceWorker.getRegistrations()).length), 0);
  const before = weighIns().length;
  await it.wire.cut();
  await type(page);
  await page.locator("[data-running] .sum").waitFor();
  await said(page, "only while this page stays open");
  await confirm(page);
  await until(page, "waiting", 1);
  await it.wire.mend();
  await page.click("[data-send]");
  await until(page, "booked", 1);
  assert.equal(weighIns().length, before + 1);
  await it.close();
});
