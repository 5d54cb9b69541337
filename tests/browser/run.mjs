// Opens pages in a browser and uses them: no request, no error, tables sort and filter, plots zoom, events are marked, and
// an accessibility checker finds nothing serious. Usage: run.mjs PAGE...   BROWSER names the browser's program.
import assert from 'node:assert/strict';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { basename, join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { inflateSync } from 'node:zlib';
import { chromium } from 'playwright-core';

const AXE = createRequire(import.meta.url).resolve('axe-core/axe.min.js');
const FLAGS = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
  '--disable-component-update', '--disable-sync'];
const WIDTHS = [390, 1280];
const LONG = 'everything.html';
const keep = process.env.SHOTS;
let passed = 0;

const check = async (name, body) => {
  try {
    await body();
    passed += 1;
    console.log(`ok   ${name}`);
  } catch (error) {
    console.error(`FAIL ${name}\n${error.stack}`);
    process.exitCode = 1;
  }
};

// Rows of a PNG without interlacing, filters undone: enough to see that a picture is not all of one colour (PNG, third
// edition, clauses 9 and 11; from memory).
function colours(png) {
  let at = 8;
  let header = null;
  const parts = [];
  while (at < png.length) {
    const length = png.readUInt32BE(at);
    const kind = png.toString('latin1', at + 4, at + 8);
    const body = png.subarray(at + 8, at + 8 + length);
    if (kind === 'IHDR') header = { width: body.readUInt32BE(0), height: body.readUInt32BE(4), colour: body[9] };
    if (kind === 'IDAT') parts.push(body);
    at += 12 + length;
  }
  const octets = header.colour === 6 ? 4 : 3;
  const raw = inflateSync(Buffer.concat(parts));
  const stride = header.width * octets;
  let before = new Uint8Array(stride);
  const seen = new Set();
  for (let row = 0; row < header.height; row += 1) {
    const from = row * (stride + 1);
    const filter = raw[from];
    const line = new Uint8Array(stride);
    for (let index = 0; index < stride; index += 1) {
      const left = index >= octets ? line[index - octets] : 0;
      const up = before[index];
      const corner = index >= octets ? before[index - octets] : 0;
      const guess = left + up - corner;
      const [a, b, c] = [Math.abs(guess - left), Math.abs(guess - up), Math.abs(guess - corner)];
      const paeth = a <= b && a <= c ? left : b <= c ? up : corner;
      line[index] = raw[from + 1 + index] + [0, left, up, (left + up) >> 1, paeth][filter];
    }
    for (let index = 0; index < stride; index += octets) seen.add((line[index] << 16) | (line[index + 1] << 8) | line[index + 2]);
    before = line;
  }
  return seen.size;
}

const visiblePlot = (page, id) => page.locator(`[data-plot="${id}"] svg.plot:visible`);
const boxOf = (page, id) => page.locator(`#${id}-data`).getAttribute('viewBox');

async function uses(page, name) {
  const stages = await page.locator('.stage[data-over-time]').evaluateAll((all) => all.map((stage) => stage.dataset.plot));
  await check(`${name}: a drag across a plot zooms every plot over time`, async () => {
    assert.ok(stages.length > 0, 'no plot over time');
    const before = await Promise.all(stages.map((id) => boxOf(page, id)));
    const plot = visiblePlot(page, stages[0]);
    await plot.evaluate((node) => node.scrollIntoView({ block: 'center' }));
    const area = await plot.boundingBox();
    await page.mouse.move(area.x + area.width * 0.4, area.y + area.height / 2);
    await page.mouse.down();
    await page.mouse.move(area.x + area.width * 0.6, area.y + area.height / 2, { steps: 4 });
    await page.mouse.up();
    const after = await Promise.all(stages.map((id) => boxOf(page, id)));
    stages.forEach((id, index) => assert.notEqual(after[index], before[index], `${id} did not zoom`));
    assert.match(await page.locator('#time-shown').textContent(), / to /);
    await page.locator('[data-move="whole"]').click();
    assert.deepEqual(await Promise.all(stages.map((id) => boxOf(page, id))), before);
  });
  await check(`${name}: two fingers stretch the time of every plot, one moves it`, async () => {
    const plot = visiblePlot(page, stages[0]);
    await plot.evaluate((node) => node.scrollIntoView({ block: 'center' }));
    const area = await plot.boundingBox();
    const finger = (kind, pointerId, part) => plot.evaluate((node, [kind, pointerId, x, y]) => {
      node.dispatchEvent(new PointerEvent(kind, { pointerId, pointerType: 'touch', clientX: x, clientY: y, bubbles: true, button: 0 }));
    }, [kind, pointerId, area.x + area.width * part, area.y + area.height / 2]);
    const before = await Promise.all(stages.map((id) => boxOf(page, id)));
    const numbers = async () => (await boxOf(page, stages[0])).split(' ').map(Number);
    const [, , full] = await numbers();
    await finger('pointerdown', 41, 0.5);
    await finger('pointerdown', 42, 0.6);
    await finger('pointermove', 41, 0.4);
    await finger('pointermove', 42, 0.8);
    const stretched = await Promise.all(stages.map((id) => boxOf(page, id)));
    stages.forEach((id, index) => assert.notEqual(stretched[index], before[index], `${id} did not stretch`));
    const [left, , width] = await numbers();
    assert.ok(Math.abs(width / full - 0.25) < 0.02, `four times as wide: ${width} of ${full}`);
    await finger('pointerup', 42, 0.8);
    await finger('pointermove', 41, 0.3);
    const [moved, , same] = await numbers();
    assert.ok(moved > left && Math.abs(same - width) < 0.01 * width, `later by a tenth: ${left} ${moved}`);
    await finger('pointerup', 41, 0.3);
    // A finger that the browser takes for scrolling is let go.
    await finger('pointerdown', 43, 0.5);
    await finger('pointercancel', 43, 0.5);
    await finger('pointermove', 43, 0.9);
    assert.equal((await numbers())[0], moved);
    await page.locator('[data-move="whole"]').click();
    assert.deepEqual(await Promise.all(stages.map((id) => boxOf(page, id))), before);
  });
  await check(`${name}: lines over time are as fine as the data that is embedded`, async () => {
    const fine = await page.evaluate(() => {
      const data = JSON.parse(document.getElementById('series').textContent);
      const told = [];
      for (const stage of document.querySelectorAll('.stage[data-over-time]')) {
        const plot = data.plots[stage.dataset.plot];
        const symbol = stage.querySelector('symbol');
        const lines = [...symbol.querySelectorAll('polyline')].map((line) => line.getAttribute('points'));
        for (const [, points] of plot.lines) {
          const ends = points.length === 1 ? 2 : points.length;
          const drawn = lines.find((line) => line.trim().split(/\s+/).length === ends && line.includes('.'));
          told.push(drawn !== undefined);
        }
      }
      return told;
    });
    assert.ok(fine.every(Boolean), `${fine.filter((one) => !one).length} of ${fine.length} lines are coarse`);
  });
  await check(`${name}: keys read values, zoom and go back`, async () => {
    const stage = page.locator(`[data-plot="${stages[0]}"]`);
    await stage.focus();
    await page.keyboard.press('ArrowRight');
    assert.match(await stage.locator('xpath=../p').textContent(), /: /);
    const before = await boxOf(page, stages[0]);
    await page.keyboard.press('+');
    assert.notEqual(await boxOf(page, stages[0]), before);
    await page.keyboard.press('Escape');
    assert.equal(await boxOf(page, stages[0]), before);
  });
  await check(`${name}: Home and End move the line that is read at`, async () => {
    const stage = page.locator(`[data-plot="${stages[0]}"]`);
    await stage.focus();
    const line = () => visiblePlot(page, stages[0]).locator('.cursor .here').getAttribute('x1').then(Number);
    await page.keyboard.press('Home');
    const first = await line();
    await page.keyboard.press('End');
    assert.ok(await line() > first + 100, `${first} ${await line()}`);
    assert.equal(await page.locator('.readout[role=status]').count(), 1, 'only what is in use is read out');
    await page.keyboard.press('Escape');
  });
  await check(`${name}: a tap reads values`, async () => {
    const plot = visiblePlot(page, stages[0]);
    await plot.evaluate((node) => node.scrollIntoView({ block: 'center' }));
    const area = await plot.boundingBox();
    for (const kind of ['pointerdown', 'pointerup', 'pointerleave']) {
      await plot.evaluate((node, [kind, x, y]) => {
        node.dispatchEvent(new PointerEvent(kind, { pointerId: 51, pointerType: 'touch', clientX: x, clientY: y, bubbles: true, button: 0 }));
      }, [kind, area.x + area.width / 3, area.y + area.height / 2]);
    }
    assert.equal(await page.locator(`#${stages[0]} .readout`).isVisible(), true);
    assert.match(await page.locator(`#${stages[0]} .readout`).textContent(), /: ./);
  });
  const follows = stages.filter((id) => id.startsWith('offset-'))[0];
  if (follows !== undefined) {
    await check(`${name}: heights follow the time shown, and go back`, async () => {
      const parts = async () => (await boxOf(page, follows)).split(' ').map(Number);
      const values = () => visiblePlot(page, follows).locator('.values text').allTextContents();
      const [whole, told] = [await parts(), await values()];
      await page.locator(`[data-plot="${follows}"]`).focus();
      for (let times = 0; times < 5; times += 1) await page.keyboard.press('+');
      const [, top, , height] = await parts();
      assert.ok(top >= whole[1] && top + height <= whole[1] + whole[3] + 1e-6, `${top} ${height}`);
      const close = await values();
      if (height < whole[3]) assert.notDeepEqual(close, told);
      assert.equal(new Set(close).size, close.length, `no two lines of one label: ${close}`);
      await page.locator('#fit').click();
      assert.equal((await parts())[3], whole[3]);
      await page.locator('#fit').click();
      assert.equal((await parts())[3], height);
      await page.locator('[data-move="whole"]').click();
      assert.deepEqual([await parts(), await values()], [whole, told]);
    });
  }
  if (name.startsWith('leader-lost')) {
    await check(`${name}: where no sample is, none is told`, async () => {
      const plot = visiblePlot(page, 'offset-0');
      await plot.evaluate((node) => node.scrollIntoView({ block: 'center' }));
      const area = await plot.boundingBox();
      const [left, , width] = (await plot.getAttribute('data-box')).split(' ').map(Number);
      const scale = area.width / Number((await plot.getAttribute('viewBox')).split(' ')[2]);
      const { to } = await page.evaluate(() => JSON.parse(document.getElementById('series').textContent));
      await page.mouse.move(area.x + (left + 41.5 / to * width) * scale, area.y + area.height / 2);
      assert.match(await page.locator('#offset-0 .readout').textContent(), /no sample here/);
      await page.mouse.move(area.x + (left + 60 / to * width) * scale, area.y + area.height / 2);
      assert.match(await page.locator('#offset-0 .readout').textContent(), /02-00-5e-ff-fe-10-00-02/);
    });
  }
  await check(`${name}: values are told where the pointer is`, async () => {
    for (const id of stages) {
      const plot = visiblePlot(page, id);
      await plot.evaluate((node) => node.scrollIntoView({ block: 'center' }));
      const area = await plot.boundingBox();
      await page.mouse.move(area.x + area.width / 2, area.y + area.height / 2, { steps: 3 });
      await page.locator(`#${id} .readout:visible`).waitFor({ timeout: 5000 });
      assert.match(await page.locator(`#${id} .readout`).textContent(), /: ./, id);
    }
  });
  const events = page.locator('button.at');
  if (await events.count() > 0) {
    await check(`${name}: an event that is pressed is marked in every plot over time`, async () => {
      await events.first().click();
      assert.equal(await events.first().getAttribute('aria-pressed'), 'true');
      for (const id of stages) assert.ok(await visiblePlot(page, id).locator('.cursor .event').count() === 1, id);
      await events.first().click();
      assert.equal(await page.locator('.cursor .event').count(), 0);
    });
  }
  await check(`${name}: tables sort both ways by what stands in them`, async () => {
    const table = page.locator('[data-table]').filter({ has: page.locator('tbody tr:nth-child(2)') }).first();
    const column = () => table.locator('tbody tr td:first-child').evaluateAll((cells) => cells.map((cell) => (
      cell.dataset.by === undefined ? cell.textContent.trim().toLowerCase() : Number(cell.dataset.by))));
    const compare = (one, other) => (typeof one === 'number' ? one - other : one.localeCompare(other, 'en', { numeric: true }));
    const sorted = (await column()).sort(compare);
    const header = table.locator('th').first();
    await header.locator('button').click();
    assert.equal(await header.getAttribute('aria-sort'), 'ascending');
    assert.deepEqual(await column(), sorted);
    await header.locator('button').click();
    assert.equal(await header.getAttribute('aria-sort'), 'descending');
    assert.deepEqual(await column(), sorted.slice().reverse());
  });
  await check(`${name}: what is missing stands last, whichever way a table is sorted`, async () => {
    const columns = await page.locator('table').evaluateAll((tables) => tables.flatMap((table) => [...table.rows[0].cells]
      .map((_, column) => [table.id, column, [...table.tBodies[0].rows].map((row) => row.cells[column].dataset.by)]))
      .filter(([, , by]) => by.includes('') && by.some((one) => one)));
    for (const [id, column] of columns) {
      const button = page.locator(`#${id} th`).nth(column).locator('button');
      for (const way of ['up', 'down']) {
        await button.click();
        const by = await page.locator(`#${id} tbody tr`).evaluateAll((rows, column) => rows.map((row) => row.cells[column].dataset.by), column);
        const first = by.indexOf('');
        assert.ok(by.slice(first).every((one) => one === ''), `${id} ${column} ${way}: ${by}`);
        const known = by.slice(0, first).map(Number);
        assert.deepEqual(known, known.slice().sort((one, other) => (way === 'up' ? one - other : other - one)));
      }
    }
  });
  const filters = page.locator('.filter input:visible');
  if (await filters.count() > 0) {
    await check(`${name}: a filter leaves the rows that hold its words`, async () => {
      const table = page.locator('[data-table]').filter({ has: page.locator('.filter:visible') }).filter({ visible: true }).first();
      const all = await table.locator('tbody tr').count();
      await table.locator('input').fill('no such words');
      assert.equal(await table.locator('tbody tr:visible').count(), 0);
      assert.equal(await table.locator('.filter [role=status]').textContent(), `0 of ${all}`);
      const word = (await table.locator('tbody tr td:nth-child(2)').first().textContent()).trim();
      await table.locator('input').fill(word);
      const left = await table.locator('tbody tr:visible').count();
      assert.ok(left >= 1 && left <= all);
      await table.locator('input').fill('');
      assert.equal(await table.locator('tbody tr:visible').count(), all);
    });
  }
}

async function accessible(page, name) {
  // The checker is let in beside the page's own policy, as an extension would be.
  const faults = await page.evaluate(async () => {
    const { violations } = await window.axe.run(document, { resultTypes: ['violations'] });
    return violations.filter((fault) => ['serious', 'critical'].includes(fault.impact))
      .map((fault) => `${fault.id}: ${fault.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(' | ')}`);
  });
  assert.deepEqual(faults, [], name);
}

// Pictures of a whole page, one below the other. A browser draws no picture higher than 16 384 pixels (Chromium; the rest
// stays blank), and a blank part of one picture would not show in its colours.
const PART = 3000;
const DRAWN = 16384;
async function pictures(page, width) {
  const high = await page.evaluate(() => document.documentElement.scrollHeight);
  await page.setViewportSize({ width, height: Math.min(PART, high) });
  const parts = [];
  for (let from = 0; from < high; from += PART) {
    const at = await page.evaluate((from) => { scrollTo(0, from); return scrollY; }, from);
    // The last part begins earlier, as there is no page below its end.
    assert.ok(at === from || at + Math.min(PART, high) >= high - 1, `the page scrolls to ${from}, not ${at}`);
    parts.push({ from, picture: await page.screenshot() });
  }
  await page.evaluate(() => scrollTo(0, 0));
  await page.setViewportSize({ width, height: 900 });
  return parts;
}

const profile = mkdtempSync(join(tmpdir(), 'downbeat-browser-'));
try {
  for (const [file, scheme] of process.argv.slice(2).flatMap((file) => [[file, 'light'], [file, 'dark']])) {
    const address = pathToFileURL(resolve(file)).href;
    // Of a very long page it is enough to see that all of it is drawn.
    const isLong = basename(file) === LONG;
    for (const width of WIDTHS.filter((width) => !isLong || (width === WIDTHS[0] && scheme === 'light'))) {
      const name = `${basename(file)} ${width} ${scheme}`;
      const context = await chromium.launchPersistentContext(mkdtempSync(join(profile, 'p')), {
        executablePath: process.env.BROWSER || '/usr/bin/chromium', args: FLAGS, colorScheme: scheme,
        viewport: { width, height: 900 },
      });
      const page = await context.newPage();
      const said = [];
      const asked = [];
      page.on('console', (message) => said.push(message.text()));
      page.on('pageerror', (error) => said.push(String(error)));
      page.on('request', (request) => { if (!request.url().startsWith('data:')) asked.push(request.url()); });
      await page.goto(address);
      await check(`${name}: opens from disk without an error or any request but its own`, async () => {
        assert.equal(await page.locator('html').getAttribute('data-ready'), 'yes');
        assert.deepEqual(said, []);
        assert.deepEqual(asked, [address]);
      });
      await check(`${name}: is no wider than the screen`, async () => {
        assert.equal(await page.evaluate(() => document.documentElement.scrollWidth), width);
      });
      if (scheme === 'light' && !isLong) await uses(page, name);
      await check(`${name}: a picture of it is not blank`, async () => {
        const parts = await pictures(page, width);
        parts.forEach(({ from, picture }) => {
          if (keep) writeFileSync(join(keep, `${basename(file, '.html')}-${width}-${scheme}-${from}.png`), picture);
          assert.ok(colours(picture) > 20, `of few colours from ${from} px on`);
        });
        if (isLong) {
          assert.ok(parts.length * PART > DRAWN, 'it is not long');
          return;
        }
        for (const plot of await page.locator('svg.plot:visible').all()) {
          assert.ok(colours(await plot.screenshot()) > 5, 'a plot is blank');
        }
      });
      await check(`${name}: still without an error or a request after use`, () => {
        assert.deepEqual([said, asked], [[], [address]]);
      });
      await context.close();
      if (isLong) continue;
      // The page's policy keeps every other script out, so the checker comes in where policies are not enforced.
      const bare = await chromium.launchPersistentContext(mkdtempSync(join(profile, 'p')), {
        executablePath: process.env.BROWSER || '/usr/bin/chromium', args: FLAGS, colorScheme: scheme,
        viewport: { width, height: 900 }, bypassCSP: true,
      });
      const checked = await bare.newPage();
      await checked.goto(address);
      await checked.addScriptTag({ path: AXE });
      await check(`${name}: the accessibility checker finds nothing serious`, () => accessible(checked, name));
      if (scheme === 'light' && width === 1280) {
        await check(`${name}: prints on A4`, async () => {
          const pages = await checked.pdf({ format: 'A4', preferCSSPageSize: true });
          assert.ok(pages.length > 10_000 && pages.subarray(0, 5).toString() === '%PDF-');
          await checked.emulateMedia({ media: 'print' });
          await checked.setViewportSize({ width: 690, height: 1000 });
          assert.ok(await checked.evaluate(() => document.documentElement.scrollWidth) <= 690, 'wider than the paper');
          await checked.evaluate(() => dispatchEvent(new Event('beforeprint')));
          assert.equal(await checked.locator('details:not([open])').count(), 0);
          const heads = await checked.locator('th').evaluateAll((all) => all.map((head) => head.innerText.trim()));
          assert.ok(heads.length > 0 && heads.every(Boolean), 'heads without buttons, which paper has on its first page alone');
          await checked.evaluate(() => dispatchEvent(new Event('afterprint')));
        });
      }
      await bare.close();
    }
  }
} finally {
  rmSync(profile, { recursive: true, force: true });
}
console.log(`${passed} passed, ${process.exitCode ? 'some' : 0} failed`);
