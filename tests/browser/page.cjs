// Opens pages in a real browser, from disk, and says what is wrong: one line a fault, none if all is well.
//
//   node page.cjs MODULES PICTURES PAGE...
//
// MODULES holds playwright-core and axe-core; screenshots go to PICTURES.
'use strict';
const path = require('node:path');
const { pathToFileURL } = require('node:url');

const [modules, pictures, ...pages] = process.argv.slice(2);
const { chromium } = require(path.join(modules, 'playwright-core'));
const axe = path.join(modules, 'axe-core', 'axe.min.js');

const faults = [];
let zoomed = 0;
const fault = (page, what) => faults.push(`${page}: ${what}`);

async function look(browser, file) {
  const name = path.basename(file, '.html');
  const url = pathToFileURL(file).href;
  for (const [view, width, scheme] of [['light', 1280, 'light'], ['dark', 1280, 'dark'], ['narrow', 360, 'light']]) {
    // The page's policy holds for it, not for the checker that is put in beside it.
    const context = await browser.newContext({ viewport: { width, height: 900 }, colorScheme: scheme, reducedMotion: 'reduce' });
    const page = await context.newPage();
    page.on('console', message => { if (message.type() === 'error' || message.type() === 'warning') fault(name, `console: ${message.text()}`); });
    page.on('pageerror', error => fault(name, `error: ${error.message}`));
    page.on('request', request => { if (request.url().split('#')[0] !== url) fault(name, `asks for ${request.url().slice(0, 200)}`); });
    await page.goto(url);
    await page.screenshot({ path: path.join(pictures, `${name}-${view}.png`) });
    await page.screenshot({ path: path.join(pictures, `${name}-${view}-whole.png`), fullPage: true, clip: { x: 0, y: 0, width, height: 9000 } }).catch(() => {});
    const wider = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    if (wider > 0) fault(name, `${view}: ${wider} px wider than the window`);
    if (view === 'light') {
      await links(page, name);
      await zoom(page, name);
    }
    await context.close();

    // axe runs in a context of its own, where the policy is set aside for it.
    const bypass = await browser.newContext({ viewport: { width, height: 900 }, colorScheme: scheme, bypassCSP: true });
    const checked = await bypass.newPage();
    await checked.goto(url);
    await checked.addScriptTag({ path: axe });
    const open = checked.locator('button.zoom').first();
    if (await open.count()) await open.click();
    const found = await checked.evaluate(() => window.axe.run(document, { resultTypes: ['violations'] }));
    for (const v of found.violations.filter(v => ['serious', 'critical'].includes(v.impact)))
      fault(name, `${view}: axe ${v.id} (${v.impact}): ${v.nodes.length} times, first ${v.nodes[0].html.slice(0, 160)}`);
    await bypass.close();
  }
  const context = await browser.newContext({ colorScheme: 'dark' });
  const page = await context.newPage();
  await page.goto(url);
  for (const format of ['A4', 'Letter']) await page.pdf({ path: path.join(pictures, `${name}-${format}.pdf`), format, printBackground: true, preferCSSPageSize: false });
  await page.emulateMedia({ media: 'print', colorScheme: 'light' });
  await page.setViewportSize({ width: 690, height: 980 });
  await page.screenshot({ path: path.join(pictures, `${name}-print.png`) });
  await context.close();
}

// Every cell of the table leads to what it rests on, and the keyboard goes along.
async function links(page, name) {
  const cells = page.locator('table.results td a[href^="#"]');
  for (let i = 0; i < Math.min(await cells.count(), 40); i++) {
    const href = await cells.nth(i).getAttribute('href');
    await cells.nth(i).click();
    const landed = await page.evaluate(() => {
      const target = document.querySelector(':target');
      return target && { id: target.id, focused: document.activeElement === target, top: target.getBoundingClientRect().top };
    });
    if (!landed || `#${landed.id}` !== href) fault(name, `${href} does not land`);
    else if (!landed.focused) fault(name, `${href} leaves the keyboard behind`);
    else if (landed.top < -1 || landed.top > 900) fault(name, `${href} is not shown`);
  }
}

// Zooms by clicks, then by keys, down to single reports.
async function zoom(page, name) {
  const buttons = page.locator('button.zoom');
  if (!(await buttons.count())) return;
  await buttons.first().click();
  const box = page.locator('.lens');
  const dial = box.locator('[role=slider]');
  const shown = async () => Number(await box.getAttribute('data-shown'));
  const whole = await shown();
  await box.getByRole('button', { name: 'Closer' }).click();
  if (!((await shown()) < whole)) fault(name, 'Closer shows no less');
  await dial.focus();
  for (let i = 0; i < 12; i++) await page.keyboard.press('+');
  const closest = await shown();
  if (closest > 12) fault(name, `keys zoom to ${closest} slots only`);
  if (!(await box.locator('rect.one').count())) fault(name, 'no single reports are drawn');
  await page.screenshot({ path: path.join(pictures, `${name}-zoom.png`) });
  const before = await dial.getAttribute('aria-valuetext');
  await page.keyboard.press('ArrowRight');
  const after = await dial.getAttribute('aria-valuetext');
  if (before === after || !/ m\/s .*expected/.test(after || '')) fault(name, `keys read nothing: ${after}`);
  await page.keyboard.press('0');
  if ((await shown()) !== whole) fault(name, '0 does not show the whole swipe');
  // Times and speeds are those of a hand: a swipe lasts 0.05 to 3 s, and is counted somewhere at 0.2 to 9 m/s.
  const ms = Number((/of ([0-9.]+) ms/.exec(await box.locator('svg').textContent()) || [])[1]);
  if (!(ms > 50 && ms < 3000)) fault(name, `a swipe of ${ms} ms`);
  let fastest = 0;
  await page.keyboard.press('Home');
  for (let i = 0; i < 40; i++) {
    await page.keyboard.press('ArrowRight');
    const read = /([0-9.]+) m\/s [^,]*counted/.exec(await dial.getAttribute('aria-valuetext'));
    fastest = Math.max(fastest, Number((read || [])[1]) || 0);
  }
  if (!(fastest > 0.2 && fastest < 9)) fault(name, `counted at ${fastest} m/s at most`);
  const area = await dial.boundingBox();
  await page.mouse.move(area.x + area.width * 0.3, area.y + area.height / 2);
  if ((await dial.getAttribute('aria-valuetext')) === after) fault(name, 'the pointer reads nothing');
  await page.keyboard.press('Escape');
  if (await box.count()) fault(name, 'Escape leaves the lens open');
  zoomed += 1;
}

(async () => {
  const browser = await chromium.launch({
    executablePath: '/usr/bin/chromium',
    headless: true,
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
  });
  try {
    for (const file of pages) await look(browser, file);
  } finally {
    await browser.close();
  }
  for (const line of faults) console.log(line);
  console.log(`looked at ${pages.length} pages, zoomed on ${zoomed}`);
  process.exitCode = faults.length ? 1 : 0;
})().catch(error => { console.log(String(error && error.stack)); process.exitCode = 1; });
