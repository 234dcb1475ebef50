// report.html in a real browser without a window: node page_test.mjs MODULES PAGE NAME SCREENSHOTS
// MODULES holds node_modules with playwright-core and axe-core. Exit 0 when every check holds.
import { createRequire } from "node:module";
import { mkdirSync, mkdtempSync, rmSync, statSync, readFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

const [modules, page_file, name, shots] = process.argv.slice(2);
const require = createRequire(pathToFileURL(resolve(modules, "package.json")));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const url = pathToFileURL(resolve(page_file)).href;
const executablePath = process.env.INTERSTICE_CHROMIUM || "/usr/bin/chromium";
mkdirSync(shots, { recursive: true });

let failed = 0;
function check(ok, what) {
  if (!ok) ++failed;
  console.log((ok ? "ok    " : "FAILED") + " " + name + ": " + what);
}

const profile = mkdtempSync(join(tmpdir(), "report-page-"));
const browser = await chromium.launchPersistentContext(profile, {
  executablePath, headless: true, viewport: { width: 1440, height: 900 },
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync"]
});

const complaints = [], requests = [];
async function open(width, height, colorScheme = "light") {
  const page = await browser.newPage();
  page.on("console", m => { if (m.type() === "error") complaints.push(m.text()); });
  page.on("pageerror", e => complaints.push(String(e)));
  page.on("dialog", d => { complaints.push("a message box: " + d.message()); d.dismiss(); });
  page.on("request", r => { if (!r.url().startsWith("data:") && r.url() !== url) requests.push(r.url().slice(0, 200)); });
  await page.setViewportSize({ width, height });
  await page.emulateMedia({ colorScheme, reducedMotion: "reduce" });
  await page.goto(url, { waitUntil: "load", timeout: 120000 });
  return page;
}

async function no_side_scroll(page, width) {
  const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  check(over <= 0, `no sideways scrolling at ${width} px (${over} px over)`);
}

// Every flagged seam of the lists has a link on the map that the Tab key reaches.
async function seams_by_keyboard(page) {
  const wanted = await page.evaluate(() => [...document.querySelectorAll("#seams > .cards > .card")].map(c => c.dataset.card).sort());
  const reached = new Set();
  await page.evaluate(() => { document.querySelector("#map .scroller").focus(); });
  for (let i = 0; i < wanted.length + 20; ++i) {
    await page.keyboard.press("Tab");
    const seam = await page.evaluate(() => { const e = document.activeElement; return e.closest("#unrolled") ? e.dataset.seam : null; });
    if (seam) reached.add(seam);
  }
  check(wanted.length > 0, `has flagged seams (${wanted.length})`);
  check(wanted.every(s => reached.has(s)), `every flagged seam reachable by keyboard (${reached.size} of ${wanted.length})`);
}

async function seam_shows_photo(page, how) {
  const open_ok = await page.evaluate(() => {
    const d = document.getElementById("big"), svg = d.querySelector(".stage svg image");
    if (!d.open || !svg) return false;
    const r = svg.getBoundingClientRect();
    return r.width > 100 && r.height > 100 && svg.getAttribute("href").startsWith("data:image/jpeg;base64,");
  });
  check(open_ok, `${how} shows the seam's photo`);
  const graph = await page.locator("#big .graph").count();
  check(graph === 1, `${how} shows the width along the seam`);
  await page.keyboard.press("Escape");
  check(!(await page.evaluate(() => document.getElementById("big").open)), `${how}: Escape closes it`);
}

async function view_draws(page, width) {
  await page.evaluate(() => document.getElementById("view").scrollIntoView({ block: "center" }));
  await page.waitForFunction(() => document.getElementById("view").dataset.drawn === "1", null, { timeout: 90000, polling: 250 });
  await page.waitForTimeout(1500);  // the picture on it arrives after the first drawing
  const kinds = await page.evaluate(() => {
    const c = document.querySelector("#view canvas"), k = document.createElement("canvas");
    k.width = 120; k.height = 90;
    const g = k.getContext("2d");
    g.drawImage(c, 0, 0, 120, 90);
    const p = g.getImageData(0, 0, 120, 90).data;
    let differ = 0;
    const colours = new Set();
    for (let i = 0; i < p.length; i += 4) {
      if (Math.abs(p[i] - p[0]) + Math.abs(p[i + 1] - p[1]) + Math.abs(p[i + 2] - p[2]) > 24) ++differ;
      colours.add((p[i] >> 4) + "," + (p[i + 1] >> 4) + "," + (p[i + 2] >> 4));
    }
    return { share: differ / (120 * 90), colours: colours.size };
  });
  check(kinds.share > 0.1 && kinds.colours > 20, `the view in 3-D draws at ${width} px (${(100 * kinds.share).toFixed(0)} % of it, ${kinds.colours} colours)`);
}

// From the top of the page: anywhere else the heading that stays in view lies over whatever was scrolled under it.
async function accessible(page, what) {
  await page.evaluate(() => scrollTo({ top: 0, behavior: "instant" }));
  await page.addScriptTag({ content: axe });
  const result = await page.evaluate(() => window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
  const bad = result.violations.filter(v => v.impact === "serious" || v.impact === "critical");
  check(result.passes.length > 15, `accessibility rules ran ${what} (${result.passes.length} passed)`);
  check(bad.length === 0, `no serious fault of accessibility ${what}` + bad.map(v => `\n    ${v.id}: ${v.nodes.length} x ${v.nodes[0].html.slice(0, 200)} ${v.nodes[0].failureSummary}`).join(""));
}

// Lets pictures in view decode, then the whole page as PNG, in pieces a person can look at.
async function look(page, what) {
  await page.evaluate(() => scrollTo(0, 0));
  await page.screenshot({ path: join(shots, `${name}-${what}-top.png`) });
  for (const part of ["work", "seams", "photos", "map", "model", "pour", "quality"]) {
    await page.evaluate(id => document.getElementById(id).scrollIntoView({ block: "start" }), part);
    await page.screenshot({ path: join(shots, `${name}-${what}-${part}.png`) });
  }
}

try {
  check(statSync(page_file).size < 12e6, `smaller than 12 MB (${(statSync(page_file).size / 1e6).toFixed(1)} MB)`);
  for (const [width, height] of [[360, 780], [768, 1024], [1440, 900]]) {
    const page = await open(width, height);
    await no_side_scroll(page, width);
    await view_draws(page, width);
    const first = page.locator("#unrolled a.seam").first();
    const spot = await first.evaluate(a => {
      a.scrollIntoView({ block: "center", inline: "center" });
      const path = document.querySelector(a.querySelector("use.line").getAttribute("href")), m = a.querySelector("use.line").getScreenCTM();
      const p = path.getPointAtLength(path.getTotalLength() / 2).matrixTransform(m);
      return { x: p.x, y: p.y };
    });
    await page.mouse.click(spot.x, spot.y);
    await seam_shows_photo(page, `tapping a seam at ${width} px`);
    await first.focus();
    await page.keyboard.press("Enter");
    await seam_shows_photo(page, `Enter on a seam at ${width} px`);
    await seams_by_keyboard(page);
    await accessible(page, `at ${width} px`);
    await look(page, `${width}-light`);
    await page.close();
  }

  const dark = await open(360, 780, "dark");
  await accessible(dark, "in the dark");
  await look(dark, "360-dark");
  await dark.close();

  const page = await open(768, 1024);
  const box = page.locator(".work input").first();
  if (await box.count()) {
    await box.check();
    await page.reload();
    check(await page.locator(".work input").first().isChecked(), "a tick survives a reload");
    check(!(await page.locator(".work input").nth(1).isChecked()), "other boxes stay empty");
  }
  const metric = await page.locator("#seams .width .q").first().textContent();
  await page.locator("#units").click();
  const inch = await page.locator("#seams .width .q").first().textContent();
  check(Math.abs(Number.parseFloat(metric) / 25.4 - Number.parseFloat(inch)) < 0.0006, `inches are millimetres / 25.4 (${metric} -> ${inch})`);
  check(!(await page.evaluate(() => [...document.querySelectorAll("main .q")].some(e => /mm$/.test(e.textContent)))), "no millimetres are left among inches");
  await page.pdf({ path: join(shots, `${name}-print.pdf`), preferCSSPageSize: false, format: "A4" });
  await page.close();

  // On paper nothing is wider than the sheet: printable widths at 96 px an inch with 10 mm margins.
  for (const [paper, width] of [["A4", Math.floor((210 - 20) / 25.4 * 96)], ["Letter", Math.floor(8.5 * 96 - 20 / 25.4 * 96)]]) {
    const sheet = await open(width, 1000);
    await sheet.emulateMedia({ media: "print" });
    await no_side_scroll(sheet, `${paper}'s ${width}`);
    const pdf = await sheet.pdf({ path: join(shots, `${name}-${paper}.pdf`), preferCSSPageSize: false, format: paper });
    check(pdf.length > 20000, `prints on ${paper} (${pdf.length} bytes)`);
    await sheet.close();
  }

  // Without WebGL the view is a still picture.
  {
    const before = complaints.length;
    const flat = await browser.newPage();
    await flat.addInitScript(() => {
      const get = HTMLCanvasElement.prototype.getContext;
      HTMLCanvasElement.prototype.getContext = function (kind, ...more) { return /webgl/i.test(kind) ? null : get.call(this, kind, ...more); };
    });
    flat.on("pageerror", e => complaints.push(String(e)));
    await flat.goto(url, { waitUntil: "load" });
    await flat.locator("#view").scrollIntoViewIfNeeded();
    await flat.waitForFunction(() => /no WebGL/.test(document.querySelector("#view").textContent), null, { timeout: 20000 }).catch(() => {});
    const still = await flat.evaluate(() => {
      const i = document.querySelector("#view .still svg image");
      return i ? i.getBoundingClientRect().width > 50 && i.getAttribute("href").startsWith("data:image/jpeg") : false;
    });
    check(still, "without WebGL a photo stands where the view would be");
    check(complaints.length === before, "without WebGL no script fails");
    await flat.close();
  }

  if (name === "hostile") {
    const harm = await open(360, 780);
    check(await harm.evaluate(() => window.harmed === undefined), "no markup from a label or name runs");
    check(await harm.evaluate(() => document.querySelectorAll("main img, main iframe, main script, main b").length === 0), "no element comes from a label or name");
    check(await harm.evaluate(() => document.body.textContent.includes("<img src=x onerror=")), "markup in a label is shown as text");
    check(await harm.evaluate(() => [...document.querySelectorAll("bdi")].some(e => e.textContent.includes("\u05d0"))), "right-to-left labels are kept apart");
    await harm.close();
  }
  check(complaints.length === 0, "no complaint on the console" + complaints.map(c => "\n    " + c).join(""));
  check(requests.length === 0, "no request leaves the page" + requests.map(r => "\n    " + r).join(""));
} finally {
  await browser.close();
  rmSync(profile, { recursive: true, force: true });
}
console.log(failed ? `${failed} checks failed` : "all checks hold");
process.exit(failed ? 1 : 0);
