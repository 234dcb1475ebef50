// A browser without a window for pages of the bench, with what every such test checks.
// MODULES holds node_modules with playwright-core and axe-core.
import { createRequire } from "node:module";
import { mkdirSync, readFileSync } from "node:fs";
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";

let failed = 0;
export function check(ok, what) {
  if (!ok) ++failed;
  console.log((ok ? "ok    " : "FAILED") + " " + what);
}
export const failures = () => failed;

// A started browser, and whether a page stays within its width and keeps the rules of accessibility. `shots`: a folder
// that is to be there.
export async function started(modules, shots) {
  const require = createRequire(pathToFileURL(resolve(modules, "package.json")));
  const { chromium } = require("playwright-core");
  const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
  mkdirSync(shots, { recursive: true });
  const browser = await chromium.launch({
    executablePath: process.env.INTERSTICE_CHROMIUM || "/usr/bin/chromium", headless: true,
    args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
      "--disable-component-update", "--disable-sync"]
  });
  async function accessible(page, what) {
    const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    check(over <= 0, `${what}: no sideways scrolling (${over} px over)`);
    await page.evaluate(axe);
    const result = await page.evaluate(() => window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"], iframes: false }));
    check(result.violations.length === 0, `${what}: ${result.passes.length} rules of accessibility` +
      result.violations.map(v => `\n    ${v.id}: ${v.nodes.length} x ${v.nodes[0].html.slice(0, 160)} ${v.nodes[0].failureSummary}`).join(""));
  }
  return { browser, accessible };
}
