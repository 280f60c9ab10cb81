// Opens the pages in a real browser and fails where one does not keep what the book
// promises of them: node check.mjs DIR, with the files that `run` makes in DIR.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join, resolve } from "node:path";
import { withBrowser } from "./browser.mjs";

const dir = resolve(process.argv[2]);
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const reports = ["example", "kitchen", "sweep", "failed", "ten-years"];
const sheets = [["sheet-a4", 210, 297], ["sheet-letter", 215.9, 279.4], ["sheet-full", 210, 297]];
const wrong = [];
let checks = 0;

function check(ok, what) {
  checks += 1;
  if (!ok) wrong.push(what);
}

const url = (name) => `file://${join(dir, `${name}.html`)}`;

// no request but for the file itself
async function stays(page, name) {
  const asked = [];
  const note = (request) => asked.push(request.url());
  page.on("request", note);
  await page.goto(url(name), { waitUntil: "networkidle" });
  page.off("request", note);
  check(asked.length === 1 && asked[0] === url(name), `${name}: asks for ${asked.slice(1).join(", ")}`);
  const scripts = await page.evaluate(() => document.scripts.length);
  check(scripts === 0, `${name}: ${scripts} scripts`);
}

// nothing reaches over the side of a small screen, tables closed or open
async function fits(page, name) {
  await page.setViewportSize({ width: 320, height: 800 });
  await page.goto(url(name));
  for (const open of [false, true]) {
    const over = await page.evaluate((open) => {
      for (const details of document.querySelectorAll("details")) details.open = open;
      return [document.documentElement.scrollWidth, document.documentElement.clientWidth];
    }, open);
    check(over[0] <= over[1], `${name}: ${over[0]} px wide on a screen of ${over[1]} px, details ${open ? "open" : "closed"}`);
  }
  const small = await page.evaluate(() => {
    let least = Infinity;
    for (const text of document.querySelectorAll("svg.picture text")) {
      const scale = text.ownerSVGElement.getBoundingClientRect().width / text.ownerSVGElement.viewBox.baseVal.width;
      least = Math.min(least, parseFloat(getComputedStyle(text).fontSize) * scale);
    }
    return least;
  });
  check(small >= 9, `${name}: text of ${small} px in a picture on a small screen`);
  await page.setViewportSize({ width: 1280, height: 900 });
}

// dark where the reader asks for it
async function darkens(page, name) {
  const light = (rgb) => rgb.match(/\d+/g).slice(0, 3).reduce((sum, part) => sum + Number(part), 0);
  const seen = {};
  for (const colorScheme of ["light", "dark"]) {
    await page.emulateMedia({ colorScheme });
    await page.goto(url(name));
    seen[colorScheme] = await page.evaluate(() => {
      const of = getComputedStyle(document.documentElement);
      return [of.backgroundColor, of.color];
    });
  }
  await page.emulateMedia({ colorScheme: "light" });
  check(light(seen.light[0]) > 700 && light(seen.light[1]) < 150, `${name}: light is ${seen.light}`);
  check(light(seen.dark[0]) < 150 && light(seen.dark[1]) > 600, `${name}: dark is ${seen.dark}`);
}

// every figure has a name and a description where a screen reader looks for them
async function named(context, page, name) {
  await page.goto(url(name));
  const count = await page.locator("figure svg.picture").count();
  const captions = await page.locator("figcaption").allTextContents();
  const session = await context.newCDPSession(page);
  const { nodes } = await session.send("Accessibility.getFullAXTree");
  const images = nodes.filter((node) => ["image", "img"].includes(node.role?.value) && !node.ignored);
  check(images.length === count, `${name}: ${images.length} of ${count} figures are in the accessibility tree`);
  const names = new Set();
  for (const image of images) {
    const [called, told] = [image.name?.value ?? "", image.description?.value ?? ""];
    check(called.length > 5, `${name}: a figure without a name`);
    check(told.length > 30 && told !== called, `${name}: "${called}" without a description`);
    check(captions.includes(told), `${name}: the description of "${called}" is not what stands below it`);
    check(/\d/.test(told), `${name}: the description of "${called}" has no figure in it: ${told}`);
    check(!names.has(called), `${name}: two figures are called "${called}"`);
    names.add(called);
  }
  await session.detach();
  return count;
}

// axe finds nothing, all details open, in light and in dark
async function audited(page, name) {
  for (const colorScheme of ["light", "dark"]) {
    await page.emulateMedia({ colorScheme });
    await page.goto(url(name));
    await page.evaluate(() => {
      for (const details of document.querySelectorAll("details")) details.open = true;
    });
    await page.evaluate(axe);
    const { violations } = await page.evaluate(() => globalThis.axe.run());
    for (const found of violations) {
      check(false, `${name}, ${colorScheme}: axe: ${found.id}: ${found.help}: ${found.nodes[0].html.slice(0, 120)}`);
    }
    check(true, "axe");
  }
  await page.emulateMedia({ colorScheme: "light" });
}

// the tables of a page against the lines of the same run
async function tells(page, name) {
  const lines = readFileSync(join(dir, `${name}.jsonl`), "utf8").trim().split("\n").map((line) => JSON.parse(line));
  await page.goto(url(name));
  const table = (caption) => page.evaluate((caption) => {
    const found = [...document.querySelectorAll("table")].find((table) => table.caption?.textContent === caption);
    return found && [...found.tBodies[0].rows].map((row) => [...row.cells].map((cell) => {
      const times = [...cell.querySelectorAll("time")].map((time) => time.dateTime);
      return times.length > 0 ? times.join(" to ") : cell.textContent;
    }));
  }, caption);
  const outcomes = lines.filter((line) => ["outcome", "open"].includes(line.event));
  const rows = await table("All doses");
  check(rows?.length === outcomes.length, `${name}: ${rows?.length} rows, ${outcomes.length} outcomes`);
  outcomes.forEach((line, i) => {
    const row = rows?.[i] ?? [];
    const expected = [
      line.last_due ? `${line.due} to ${line.last_due}` : line.due ?? "-",
      line.entry,
      `${line.outcome}${line.count ? ` x ${line.count}` : ""}${line.asked ? ", asked for" : ""}`,
      line.cause ?? "-",
      String(line.volume_ul / 1000),
      String(line.volume_most_ul / 1000),
      line.started ?? "-",
      line.ended ?? "-",
    ];
    check(JSON.stringify(row) === JSON.stringify(expected), `${name}: row ${i + 1} is ${row}, not ${expected}`);
  });
  const summary = lines.at(-1);
  const entries = await table("What each entry came to");
  for (const [column, field] of [[1, "dosed"], [2, "part"], [3, "skipped"], [4, "open"], [5, "asked"]]) {
    const sum = entries.reduce((sum, row) => sum + Number(row[column]), 0);
    check(sum === summary[field], `${name}: ${field} is ${sum} in the table, ${summary[field]} in the lines`);
  }
  const heading = await page.locator("h1").textContent();
  check(heading.includes(`${summary.dues} scheduled dose`), `${name}: the verdict says "${heading}"`);
  const first = await page.evaluate(() => document.body.innerText.trim().split("\n")[0]);
  check(heading.trim().startsWith(first.trim().slice(0, 20)), `${name}: the page begins with "${first}"`);
}

// a sheet is exactly one page of its paper
async function prints(page, name, width, height) {
  await page.goto(url(name));
  const pdf = (await page.pdf({ preferCSSPageSize: true, printBackground: true })).toString("latin1");
  const pages = (pdf.match(/\/Type\s*\/Page[^s]/g) ?? []).length;
  const box = pdf.match(/\/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)/);
  const mm = (points) => (Number(points) / 72) * 25.4;
  check(pages === 1, `${name}: ${pages} pages`);
  check(box && Math.abs(mm(box[1]) - width) < 0.6 && Math.abs(mm(box[2]) - height) < 0.6, `${name}: paper ${box?.slice(1)} pt`);
}

await withBrowser(async (context) => {
  const page = await context.newPage();
  let figures = 0;
  for (const name of [...reports, ...sheets.map(([name]) => name)]) {
    await stays(page, name);
    await fits(page, name);
    await darkens(page, name);
    await audited(page, name);
    if (reports.includes(name)) figures += await named(context, page, name);
  }
  for (const name of ["example", "kitchen", "failed"]) await tells(page, name);
  for (const [name, width, height] of sheets) await prints(page, name, width, height);
  check(figures >= 20, `only ${figures} figures were looked at`);
  console.log(`${checks} checks of ${reports.length} reports and ${sheets.length} sheets, ${figures} figures`);
});
for (const what of wrong) console.error(`wrong: ${what}`);
process.exit(wrong.length > 0 ? 1 : 0);
