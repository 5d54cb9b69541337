// Takes the pictures of docs/reading-a-report.md. Usage: pictures.mjs FOLDER-OF-PAGES FOLDER-OF-PICTURES
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { chromium } from 'playwright-core';

const [pages, pictures] = process.argv.slice(2).map((folder) => resolve(folder));
const browser = await chromium.launch({ executablePath: process.env.BROWSER || '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu'] });

async function open(name, width, height, colorScheme = 'light') {
  const context = await browser.newContext({ viewport: { width, height }, colorScheme });
  const page = await context.newPage();
  await page.goto(pathToFileURL(join(pages, `${name}.html`)).href);
  return page;
}
const picture = (name) => ({ path: join(pictures, `${name}.png`) });

let page = await open('wrong-domain', 1000, 640);
await page.screenshot(picture('verdict'));
page = await open('leader-lost', 1000, 900);
await page.locator('button.at').nth(3).click();
await page.locator('#leaders').screenshot(picture('leaders'));
await page.locator('#delay-0').screenshot(picture('delay'));
page = await open('leader-lost', 390, 700, 'dark');
await page.evaluate(() => document.getElementById('clock').scrollIntoView());
await page.screenshot(picture('phone'));
page = await open('multicast', 1000, 900);
await page.locator('#stability-0').screenshot(picture('stability'));
page = await open('media', 1000, 900);
await page.locator('#load').screenshot(picture('load'));
await browser.close();
