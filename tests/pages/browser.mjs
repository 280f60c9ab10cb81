// Starts Debian's Chromium for the checks; nothing that it could fetch is let through.

import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";

export async function withBrowser(work) {
  const profile = mkdtempSync(join(tmpdir(), "dosewright-pages-"));
  const context = await chromium.launchPersistentContext(profile, {
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    headless: true,
    args: [
      "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
      "--disable-background-networking", "--disable-component-update", "--disable-sync",
    ],
  });
  try {
    await work(context);
  } finally {
    await context.close();
    rmSync(profile, { recursive: true, force: true });
  }
}
