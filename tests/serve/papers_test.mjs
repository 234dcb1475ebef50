// Papers named by tapping, on a page that is a file: node papers_test.mjs MODULES PROGRAM FOLDER SCREENSHOTS
// FOLDER: scan.png, form.csv, labels.csv (which paper is which), papers.html, as tests/app leaves them. The names tapped
// come back as a file, and with it the outlines come to the places that were named. Exit 0 when every check holds.
import { spawnSync } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { check, failures, started } from "./browser.mjs";

const [modules, program, folder, shots] = process.argv.slice(2);
if (!existsSync(join(folder, "papers.html"))) { console.log("no papers.html to look at"); process.exit(77); }

// Which paper has which name, in the order of the names.
const truth = readFileSync(join(folder, "labels.csv"), "utf8").trim().split("\n").map(l => l.split(",").map(c => c.trim()))
  .sort((a, b) => a[1] < b[1] ? -1 : 1);
const base = mkdtempSync(join(tmpdir(), "papers-test-"));
const { browser, accessible } = await started(modules, shots);
const complaints = [], asked = [];
async function device(width, height, colorScheme, mobile) {
  const context = await browser.newContext({ viewport: { width, height }, colorScheme, isMobile: mobile, hasTouch: mobile, acceptDownloads: true });
  const page = await context.newPage();
  page.on("pageerror", e => complaints.push(String(e)));
  page.on("console", m => { if (m.type() === "error") complaints.push(m.text()); });
  page.on("request", r => { if (/^http/.test(r.url())) asked.push(r.url()); });
  await page.goto(pathToFileURL(resolve(folder, "papers.html")).href);
  return page;
}
async function handed_back(page, name) {
  const [file] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: "Make the labels file" }).click()]);
  check(file.suggestedFilename() === "labels.csv", "it is called labels.csv");
  await file.saveAs(join(base, name));
  return readFileSync(join(base, name), "utf8");
}
const paper = (page, label) => page.locator(`.piece[data-label="${label}"]`);

try {
  const phone = await device(360, 780, "light", true);
  check(await phone.locator(".piece").count() === truth.length, `${truth.length} papers`);
  const smallest = await phone.evaluate(() => Math.min(...[...document.querySelectorAll(".piece path")].map(p => { const b = p.getBoundingClientRect(); return Math.min(b.width, b.height); })));
  check(smallest >= 24, `the smallest paper is ${smallest.toFixed(0)} px across on a phone`);
  await phone.screenshot({ path: join(shots, "papers-before.png"), fullPage: true });
  let ring = "A";
  for (const [label, name] of truth) {
    if (name[0] !== ring) { await phone.getByRole("button", { name: "Next ring" }).click(); ring = name[0]; }
    check(await phone.inputValue("#next-name") === name, `${name} is next`);
    await paper(phone, label).tap();
  }
  check(/all are named/.test(await phone.textContent("#naming-said")), "all are named");
  await phone.getByRole("button", { name: "Undo" }).click();
  check(/1 paper is left/.test(await phone.textContent("#naming-said")), "Undo takes the last name back");
  await phone.reload();
  check(await phone.locator(".piece.has-name").count() === truth.length - 1, "a reload loses no name");
  await paper(phone, truth.at(-1)[0]).tap();
  const text = await handed_back(phone, "tapped.csv");
  check(text === truth.map(t => t.join(",")).join("\n") + "\n", "the labels file holds what was tapped");
  check(await phone.inputValue("#labels-text") === text, "the same stands on the page, to copy");
  await accessible(phone, "phone");
  await phone.screenshot({ path: join(shots, "papers-named.png"), fullPage: true });

  // By keyboard alone, in the dark; two names changed over, and taken back.
  const desk = await device(1280, 900, "dark", false);
  await paper(desk, truth[0][0]).focus();
  await desk.keyboard.press("Enter");
  await paper(desk, truth[2][0]).focus();
  await desk.keyboard.press("Enter");
  await desk.keyboard.press("Backspace");
  check(await desk.locator(".piece.has-name").count() === 1 && await desk.inputValue("#next-name") === "A02", "Backspace takes a name back");
  await desk.keyboard.press("ArrowRight");
  check(await desk.evaluate(() => document.activeElement.classList.contains("piece")), "an arrow goes to a paper");
  await accessible(desk, "desk");
  await desk.screenshot({ path: join(shots, "papers-dark.png"), fullPage: true });

  // What was named is what is laid.
  const plan = join(base, "plan.json");
  const ran = spawnSync(program, ["plan", "paper", join(folder, "scan.png"), "--check-line", "150", "--form", join(folder, "form.csv"),
    "--labels", join(base, "tapped.csv"), "--out", plan, "--quiet"], { encoding: "utf8" });
  check(ran.status === 0, "laid: " + ran.stderr.trim());
  const tiles = JSON.parse(readFileSync(plan, "utf8")).tiles;
  check(tiles.map(t => t.label).join() === truth.map(t => t[1]).join(), "every place has its paper");
  const angle = t => Math.atan2(t.outline.reduce((s, p) => s + p[1], 0), t.outline.reduce((s, p) => s + p[0], 0));
  const lowest = tiles.filter(t => t.ring === 1), turn = 2 * Math.PI;
  let round = 0;
  lowest.forEach((t, i) => { const d = angle(lowest[(i + 1) % lowest.length]) - angle(t); round += d - turn * Math.floor(d / turn); });
  check(Math.abs(round - turn) < 1e-6, "the lowest ring goes round once, counter-clockwise, in the order of its names");
  check(complaints.length === 0, "no errors in the browser" + complaints.map(c => "\n    " + c).join(""));
  check(asked.length === 0, "nothing is asked of a network" + asked.join(" "));
} finally {
  await browser.close();
  rmSync(base, { recursive: true, force: true });
}
process.exit(failures() ? 1 : 0);
