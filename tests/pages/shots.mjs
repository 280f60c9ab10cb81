// Pictures of pages to look at: node shots.mjs DIR page.html...

import { mkdirSync } from "node:fs";
import { basename, join, resolve } from "node:path";
import { withBrowser } from "./browser.mjs";

const [dir, ...pages] = process.argv.slice(2);
mkdirSync(dir, { recursive: true });
await withBrowser(async (context) => {
  const page = await context.newPage();
  for (const file of pages) {
    for (const width of [1280, 320]) {
      for (const colorScheme of ["light", "dark"]) {
        await page.setViewportSize({ width, height: 900 });
        await page.emulateMedia({ colorScheme });
        await page.goto(`file://${resolve(file)}`);
        const height = await page.evaluate(() => document.documentElement.scrollHeight);
        const tall = width === 1280 ? 1600 : 1500;
        for (let part = 0; part * tall < height; part += 1) {
          const name = `${basename(file, ".html")}-${width}-${colorScheme}-${part + 1}.png`;
          const clip = { x: 0, y: part * tall, width, height: Math.min(tall, height - part * tall) };
          await page.screenshot({ path: join(dir, name), fullPage: true, clip });
        }
      }
    }
  }
});
