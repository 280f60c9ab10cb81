// Opens the pages in a real browser and fails where one does not keep what the book
// promises of them: node check.mjs DIR PROGRAM, with the files that `run` makes in DIR,
// from the folder in which they were run.

import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join, resolve } from "node:path";
import { withBrowser } from "./browser.mjs";
import { expected, matrix } from "./tables.mjs";

const dir = resolve(process.argv[2]);
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const program = resolve(process.argv[3]);
const reports = ["example", "kitchen", "sweep", "failed", "visit", "year", "ten-years"];
// with lines of the same run, and the file that was run
const told = {
  example: "../../sim/src/builtin/example.toml",
  kitchen: "harbour-kitchen.toml",
  failed: join(dir, "failed.toml"),
  visit: "09-service-visit.toml",
  year: join(dir, "year.toml"),
};
const sheets = [["sheet-a4", 210, 297], ["sheet-letter", 215.9, 279.4], ["sheet-full", 210, 297], ["sheet-most", 215.9, 279.4]];
const wrong = [];
let checks = 0;
let compared = 0;

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

const parsed = (text) => text.trim().split("\n").map((line) => JSON.parse(line));
const linesOf = (name) => parsed(readFileSync(join(dir, `${name}.jsonl`), "utf8"));

// every table of a page, by its caption
const tablesOf = (page) => page.evaluate(() => [...document.querySelectorAll("table")].map((table) => ({
  title: table.caption.textContent,
  rows: [...table.tBodies[0].rows].map((row) => [...row.cells].map((cell) => {
    const times = [...cell.querySelectorAll("time")].map((time) => time.dateTime);
    return times.length > 0 ? times.join(" to ") : cell.textContent;
  })),
})));

function same(found, wanted, what) {
  const [a, b] = [JSON.stringify(found), JSON.stringify(wanted)];
  let from = 0;
  while (from < a.length && a[from] === b[from]) from += 1;
  check(a === b, `${what}: has ${a.slice(Math.max(0, from - 60), from + 60)}, the lines ${b.slice(Math.max(0, from - 60), from + 60)}`);
}

// every table of a page against what the program prints of the same run
async function tells(page, name) {
  const lines = linesOf(name);
  // exit codes 1 and 5 tell of limits that are broken: the lines are printed
  const ask = (args) => {
    try {
      return parsed(execFileSync(program, args, { encoding: "utf8", stdio: ["ignore", "pipe", "ignore"], maxBuffer: 1e9 }));
    } catch (error) {
      return parsed(error.stdout);
    }
  };
  await page.goto(url(name));
  const tables = await tablesOf(page);
  const captions = await page.locator("h2").allTextContents();
  for (const figure of tables) {
    const pairs = expected(figure, { lines, ask, file: told[name] });
    check(pairs !== undefined, `${name}: nothing is known of the table "${figure.title}"`);
    check(figure.rows.length > 0, `${name}: the table "${figure.title}" is empty`);
    for (const [found, wanted] of pairs ?? []) same(found, wanted, `${name}: ${figure.title}`);
    check(captions.includes(figure.title), `${name}: no heading "${figure.title}"`);
    compared += 1;
  }
  const summary = lines.at(-1);
  const heading = await page.locator("h1").textContent();
  check(heading.includes(`${summary.dues} scheduled dose`), `${name}: the verdict says "${heading}"`);
  const first = await page.evaluate(() => document.body.innerText.trim().split("\n")[0]);
  check(heading.trim().startsWith(first.trim().slice(0, 20)), `${name}: the page begins with "${first}"`);
}

// the cells of a sweep against its lines
async function sweeps(page, name) {
  await page.goto(url(name));
  const rows = (await tablesOf(page)).filter(({ title }) => title.startsWith("Faults by moment")).flatMap(({ rows }) => rows);
  const [found, wanted] = matrix(rows, linesOf(name));
  check(wanted.length > 20, `${name}: only ${wanted.length} cells`);
  same(found, wanted, `${name}: faults by moment`);
  compared += 1;
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
  for (const name of Object.keys(told)) await tells(page, name);
  await sweeps(page, "sweep");
  for (const [name, width, height] of sheets) await prints(page, name, width, height);
  check(compared >= 40, `only ${compared} tables were compared`);
  check(figures >= 20, `only ${figures} figures were looked at`);
  console.log(`${checks} checks of ${reports.length} reports and ${sheets.length} sheets, ${figures} figures, ${compared} tables against lines`);
});
for (const what of wrong) console.error(`wrong: ${what}`);
process.exit(wrong.length > 0 ? 1 : 0);
