// The bench in real browsers without a window: node bench_test.mjs MODULES PROGRAM SCAN_FOLDER SCREENSHOTS
// One is a phone, the other the computer. Exit 0 when every check holds.
import { spawn } from "node:child_process";
import { mkdtempSync, rmSync, readFileSync, readdirSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { check, failures, started } from "./browser.mjs";

const [modules, program, scan, shots, quick] = process.argv.slice(2);

const base = mkdtempSync(join(tmpdir(), "bench-test-")), folder = join(base, "bench");
let server = null, opened = null;
async function serve(port = "0") {
  server = spawn(program, ["bench", folder, "--port", String(port), "--json"], { stdio: ["ignore", "pipe", "ignore"] });
  opened = await new Promise((done, fail) => {
    let text = "";
    server.stdout.on("data", d => { text += d; if (text.includes("\n")) done(JSON.parse(text.split("\n")[0])); });
    server.on("exit", code => fail(new Error("the bench ended with " + code)));
  });
}
async function kill_server() {
  server.removeAllListeners("exit");
  const over = new Promise(done => server.once("close", done));
  server.kill("SIGKILL");
  await over;
}

const { browser, accessible } = await started(modules, shots);
const complaints = [], foreign = [];
async function device(width, height, colorScheme, mobile) {
  const context = await browser.newContext({ viewport: { width, height }, colorScheme, isMobile: mobile, hasTouch: mobile, reducedMotion: "reduce" });
  context.on("request", r => { const u = new URL(r.url()); if (/^http/.test(u.protocol) && u.hostname !== "127.0.0.1") foreign.push(r.url()); });
  const page = await context.newPage();
  page.on("pageerror", e => complaints.push(String(e)));
  page.on("console", m => { if (m.type() === "error" && !/Failed to load resource|net::ERR/.test(m.text())) complaints.push(m.text()); });
  return page;
}
async function look(page, name) { await page.screenshot({ path: join(shots, name + ".png"), fullPage: true }); }
async function pair(page, name) {
  await page.goto(opened.page, { waitUntil: "load" });
  await page.fill("#device", name);
  await accessible(page, name + " comes in");
  await look(page, name.replace(" ", "-") + "-pair");
  await page.getByRole("button", { name: "Come in" }).click();
  await page.waitForURL(u => u.pathname === "/");
}
const photos = readdirSync(join(scan, "photos")).sort().map(n => join(scan, "photos", n));

try {
  await serve();
  const phone = await device(360, 800, "light", true);
  await phone.goto(`http://127.0.0.1:${opened.port}/`);
  check(await phone.locator("#code").count() === 1, "without pairing there is only the door");
  await pair(phone, "phone");
  const second = await (await fetch(`http://127.0.0.1:${opened.port}/pair/x`)).text();
  check(!second.includes(opened.page.split("/").pop()), "a stranger's page does not hold the code");

  await phone.getByRole("link", { name: "New bowl" }).click();
  await phone.fill("#name", "Plover <b>walnut</b>");
  await phone.setInputFiles("#file", join(scan, "plan.json"));
  await accessible(phone, "new bowl");
  await look(phone, "phone-new");
  await phone.getByRole("button", { name: "Make it" }).click();
  await phone.waitForURL(/\/b\/[a-z0-9-]+$/);
  check(await phone.locator(".sketch path").count() === 57, "the plan's 57 pieces are drawn");
  check(await phone.locator("main b").count() === 0, "a name is text");
  await accessible(phone, "bowl");
  await look(phone, "phone-bowl");
  const bowl = new URL(phone.url()).pathname;

  // Names by tapping: three taps, one taken back, the rest by the keyboard; kept over a reload; handed back as a file.
  await phone.getByRole("link", { name: "Name the pieces" }).click();
  await phone.waitForURL(/\/names$/);
  await phone.fill("#next-name", "K08");
  const piece = n => phone.locator(".piece").nth(n);
  for (const n of [4, 5, 6]) await piece(n).tap();
  check(await piece(6).locator("text").textContent() === "K10", "one tap a piece: K08, K09, K10");
  await piece(5).tap();
  check(/K09 already/.test(await phone.textContent("#naming-said")), "a piece has one name");
  await phone.getByRole("button", { name: "Undo" }).click();
  check(await piece(6).locator("text").textContent() === "" && await phone.inputValue("#next-name") === "K10", "the last name is taken back");
  await phone.reload();
  check(await piece(5).locator("text").textContent() === "K09", "a reload loses no name");
  await piece(5).focus();
  await phone.keyboard.press("ArrowRight");
  check(await phone.evaluate(() => document.activeElement.classList.contains("piece") && !document.activeElement.classList.contains("has-name")), "an arrow goes to the piece beside");
  await phone.keyboard.press("Enter");
  check(await phone.locator(".piece.has-name").count() === 3, "Enter names it");
  await phone.getByRole("button", { name: "Next ring" }).click();
  check(await phone.inputValue("#next-name") === "L01", "the next ring begins with L01");
  const smallest = await phone.evaluate(() => Math.min(...[...document.querySelectorAll(".piece path")].map(p => { const b = p.getBoundingClientRect(); return Math.min(b.width, b.height); })));
  check(smallest >= 24, `the smallest piece is ${smallest.toFixed(0)} px across on a phone`);
  await accessible(phone, "names");
  await look(phone, "phone-names");
  await phone.getByRole("button", { name: "Keep these names" }).click();
  await phone.waitForURL(/\/b\/[a-z0-9-]+$/);
  const labels = await phone.evaluate(place => fetch(place + "/labels.csv").then(r => r.text()), bowl);
  const plan_now = await phone.evaluate(place => fetch(place + "/plan.json").then(r => r.json()), bowl);
  check(labels.trim().split("\n").length === 57 && /^[A-Z0-9]+,K08$/m.test(labels), "the labels file holds proposed and wanted");
  check(plan_now.tiles.filter(t => /^K/.test(t.label)).length === 3, "the plan carries the names");
  await phone.getByRole("button", { name: "Begin" }).click();
  await phone.waitForURL(/\/s\/001-ring-1$/);
  const place = phone.url();
  await accessible(phone, "scan without photos");
  await look(phone, "phone-scan-empty");

  // Five, then the network goes in the middle of the next, and comes back.
  const arrived = n => phone.waitForFunction(k => document.querySelectorAll("#photos li").length >= k, n, { timeout: 120000 });
  await phone.setInputFiles("#gallery", photos.slice(0, 5));
  await arrived(5);
  let cut = 0;
  await phone.route("**/slice?**", async route => { ++cut; await route.abort("internetdisconnected"); });
  await phone.setInputFiles("#camera", [photos[5]]);
  await phone.setInputFiles("#gallery", photos.slice(6, 9));
  await phone.waitForFunction(() => /No connection/.test(document.querySelector("#sending").textContent), null, { timeout: 30000 });
  check(cut > 0 && /4 photos on the way/.test(await phone.textContent("#sending")), "without a network, four photos wait and the page says so");
  await look(phone, "phone-offline");
  await phone.reload();  // a locked screen may cost the page: what waits is kept
  await phone.waitForFunction(() => /4 photos on the way/.test(document.querySelector("#sending").textContent), null, { timeout: 30000 });
  check(true, "reloaded, they still wait");
  await phone.unroute("**/slice?**");
  await arrived(9);
  check(true, "with the network back they arrive by themselves");
  await phone.setInputFiles("#gallery", [join(scan, "plan.json")]);
  await phone.waitForSelector("#refused li");
  check(/no photo/.test(await phone.textContent("#refused")), "what is no photo is refused by name");

  // The server is killed while the rest is on its way; the same folder, the same port.
  await phone.setInputFiles("#gallery", photos.slice(9));
  await arrived(11);
  await kill_server();
  await serve(opened.port);
  await arrived(20);
  await phone.waitForFunction(() => document.querySelectorAll("#photos li").length === 20 && !/on the way/.test(document.querySelector("#sending").textContent), null, { timeout: 120000 });
  check(await phone.locator("#photos li").count() === 20, "the bench killed in between: all 20 are there, none twice");
  await phone.waitForFunction(() => document.querySelectorAll(".dial .taken").length === 20, null, { timeout: 120000 });
  check(true, "the dial shows where 20 were taken from");
  await phone.waitForFunction(() => /Enough/.test(document.querySelector("#enough").textContent), null, { timeout: 30000 }).catch(() => {});
  check(/Enough/.test(await phone.textContent("#enough")), `it says "enough" (${await phone.textContent("#enough")})`);
  check(await phone.locator("#photos .bad").count() === 0, "no photo of the demo is at fault");
  await phone.getByRole("button", { name: "Set aside photo_020.jpg" }).click();
  await phone.waitForFunction(() => document.querySelectorAll("#photos li").length === 19);
  await phone.locator("#aside-box summary").click();
  await accessible(phone, "scan with photos");
  await phone.getByRole("button", { name: "Put back photo_020.jpg" }).click();
  await arrived(20);
  await look(phone, "phone-scan-full");

  const desk = await device(1280, 900, "dark", false);
  await pair(desk, "desk computer");
  check(await desk.locator(".plate").count() === 1, "the computer sees the bowl");
  await look(desk, "desk-bowls");
  await desk.goto(`http://127.0.0.1:${opened.port}/phones`);
  check(await desk.getByRole("button", { name: /Shut out/ }).count() === 2, "two devices are let in");
  await accessible(desk, "phones");
  await look(desk, "desk-phones");
  await desk.goto(`http://127.0.0.1:${opened.port}/archive`);
  await accessible(desk, "archive");

  if (quick !== "quick") {
    await phone.getByRole("button", { name: "Measure" }).click();
    await phone.waitForFunction(() => !document.querySelector("#share").hidden, null, { timeout: 30000 });
    await phone.waitForFunction(() => /photos|form/.test(document.querySelector("#stage").textContent), null, { timeout: 60000 });
    await look(phone, "phone-measuring");
    await kill_server();  // the measuring goes on, the next server finds it
    await serve(opened.port);
    await phone.waitForFunction(() => !document.querySelector("#cancel").hidden, null, { timeout: 30000 });
    check(true, "the bench killed while measuring: it goes on and is found again");
    await desk.goto(`http://127.0.0.1:${opened.port}/work`);
    await desk.waitForSelector("#jobs .plate");
    await accessible(desk, "work");
    await look(desk, "desk-work");
    await phone.waitForSelector("#to-result:not([hidden])", { timeout: 1000000 });
    await phone.click("#to-result");
    const page_of = page => page.frameLocator("#result");
    await page_of(phone).locator(".work input").first().waitFor({ timeout: 60000 });
    // The page's script runs when all of it has come.
    await page_of(phone).locator("#kept", { hasText: "everybody" }).waitFor({ timeout: 60000 }).catch(() => {});
    await accessible(phone, "result");
    await look(phone, "phone-result");
    check(/everybody at the bench/.test(await page_of(phone).locator("#work").textContent()), "it says who sees the ticks");
    const sealed = await phone.evaluate(() => { try { return document.getElementById("result").contentDocument === null; } catch (e) { return true; } });
    check(sealed, "the result's page is in a world of its own");
    const place_of_result = phone.url();
    await desk.goto(place_of_result);
    await page_of(desk).locator(".work input").first().waitFor({ timeout: 60000 });
    check(!(await page_of(desk).locator(".work input").first().isChecked()), "nothing is ticked yet");
    await page_of(phone).locator(".work input").first().check();
    await page_of(desk).locator(".work input:checked").first().waitFor({ timeout: 15000 });
    check(true, "a tick on the phone is seen on the computer");
    await desk.reload();
    await page_of(desk).locator(".work input:checked").first().waitFor({ timeout: 15000 });
    check(await page_of(desk).locator(".work input:checked").count() === 1, "and after a reload");
    await look(desk, "desk-result");
    await phone.goto(`http://127.0.0.1:${opened.port}${bowl}`);
    check(/seams/.test(await phone.textContent(".plates")), "the bowl says what the scan says");
    await look(phone, "phone-bowl-measured");
  }
  await phone.context().clearCookies();
  await phone.goto(place);
  check(await phone.locator("#code").count() === 1, "without its cookie the phone is outside");
  check(complaints.length === 0, "no script complains" + complaints.map(c => "\n    " + c).join(""));
  check(foreign.length === 0, "nothing is asked of any other computer" + foreign.join("\n    "));
} catch (e) {
  check(false, "went to the end: " + e.stack);
} finally {
  await browser.close();
  if (server) server.removeAllListeners("exit"), server.kill("SIGINT");
  await new Promise(done => setTimeout(done, 1500));
  rmSync(base, { recursive: true, force: true });
}
console.log(failures() ? `${failures()} checks failed` : "all checks hold");
process.exit(failures() ? 1 : 0);
