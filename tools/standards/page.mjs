// Holds every page against WCAG as axe-core tests it, against HTML as html-validate reads
// it, and against its own Content-Security-Policy: node page.mjs BINWATCHD [CHROMIUM].
// The demo's own pages are looked at, and the login of a daemon with a password, light
// and dark, from 320 to 1440 px. Exit 1 if
// anything is wrong.
import { spawn } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import axe from "axe-core";
import { HtmlValidate } from "html-validate";
import puppeteer from "puppeteer-core";

const [binary, chromium = "/usr/bin/chromium"] = process.argv.slice(2);
const demo = spawn(binary, ["demo", "--listen", "127.0.0.1:8947", "--days", "5", "--for", "2h", "--speed", "1"], { stdio: ["ignore", "pipe", "inherit"] });
const address = await new Promise((resolve, reject) => {
  let said = "";
  demo.stdout.on("data", (more) => { said += more; const at = /Page and metrics: (http:\/\/\S+?)\/ /.exec(said); if (at) resolve(at[1]); });
  demo.on("exit", (code) => reject(new Error(`the demo ended with ${code}: ${said}`)));
});
// The demo has no password: who logs in sees the page of another daemon.
const folder = mkdtempSync(join(tmpdir(), "page-"));
writeFileSync(join(folder, "farm.yaml"), `farm: Hillfoot Nursery
broker: {url: "tcp://127.0.0.1:1"}
journal: {path: "${join(folder, "journal.db")}"}
page: {listen: "127.0.0.1:8948", password: {env: PAGE_PASSWORD}}
probes: {bed-t: {topic: bed/t, measures: temperature}}
bins: {bed: {species: red, volume: 100 L, zones: {all: {aim: living, probes: [bed-t]}}}}
`);
const locked = spawn(binary, ["run", "--config", join(folder, "farm.yaml")], { stdio: "ignore", env: { ...process.env, PAGE_PASSWORD: "compost worms all the way" } });
process.on("exit", () => { demo.kill(); locked.kill(); rmSync(folder, { recursive: true }); });
const login = "http://127.0.0.1:8948/login";
for (let left = 300; !(await fetch(login).catch(() => null))?.ok; left--) {
  if (left === 0) throw new Error(`nothing answers at ${login}`);
  await new Promise((resolve) => setTimeout(resolve, 200));
}
const browser = await puppeteer.launch({ executablePath: chromium, args: ["--no-sandbox", "--disable-gpu", "--disable-background-networking"] });
let wrong = 0, looks = 0;
const say = (where, what) => { wrong++; console.error(`${where}: ${what}`); };
try {
  const front = await (await fetch(address + "/")).text();
  const bin = /href="(\/bins\/[^"?]+)"/.exec(front)[1], name = decodeURIComponent(bin.slice(6));
  const probe = /href="(\/probes\/[^"?]+)"/.exec(await (await fetch(address + "/probes")).text())[1];
  const pages = ["/", bin, `${bin}?span=2w`, "/rounds", "/ahead", "/probes", "/reliability", probe, "/jot", `/jot?bin=${name}`, `/hush?bin=${name}`, "/nowhere", login];
  const line = await (await fetch(address + "/jot", { method: "POST", body: new URLSearchParams({ bin: name, what: "turned" }) })).text();
  pages.push(/href="(\/jot\/\d+)"/.exec(line + (await (await fetch(address + bin)).text()))[1]);
  const urlOf = (path) => path.startsWith("/") ? address + path : path;

  // The page's HTML is compact on purpose: a button's and an input's kind is what HTML
  // says it is where it says nothing. An id may hold a dot. Who has no scripts gets the
  // page anew by a refresh.
  const html = new HtmlValidate({ extends: ["html-validate:recommended", "html-validate:a11y"],
    rules: { "no-implicit-button-type": "off", "no-implicit-input-type": "off", "valid-id": ["error", { relaxed: true }], "meta-refresh": "off", "long-title": "off", "void-style": "off", "attribute-boolean-style": "off", "doctype-style": "off", "no-trailing-whitespace": "off", "no-raw-characters": "off", "require-sri": "off" } });
  for (const path of pages) {
    const report = await html.validateString(await (await fetch(urlOf(path))).text());
    for (const m of report.results.flatMap((r) => r.messages)) say(path, `${m.line}:${m.column}: ${m.ruleId}: ${m.message}`);
  }
  const tab = await browser.newPage();
  let at = "";
  tab.on("console", (m) => { if (!(at === "/nowhere" && /404/.test(m.text()))) say(at, `the browser says: ${m.text()}`); });
  tab.on("pageerror", (e) => say(at, `the browser says: ${e.message}`));
  const devtools = await tab.createCDPSession();
  for (const theme of ["light", "dark"]) {
    await tab.emulateMediaFeatures([{ name: "prefers-color-scheme", value: theme }]);
    for (const width of [320, 390, 768, 1440]) {
      await tab.setViewport({ width, height: 800 });
      for (at of pages) {
        await tab.goto(urlOf(at), { waitUntil: "load" });
        await tab.evaluate(axe.source);
        const found = await tab.evaluate(() => axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
        looks++;
        if (found.passes.length < 10) say(at, `axe looked at ${found.passes.length} things only`);
        for (const v of found.violations) say(`${at} ${width}px ${theme}`, `${v.id}: ${v.help}: ${v.nodes.slice(0, 2).map((n) => n.target.join(" ")).join(", ")}`);
      }
    }
  }
  const manifest = await devtools.send("Page.getAppManifest");
  if (!manifest.url || manifest.errors.length > 0) say("manifest", JSON.stringify(manifest.errors));
  console.log(`${pages.length} pages, ${looks} looks by axe, manifest ${manifest.url}: ${wrong} wrong`);
} finally {
  await browser.close();
}
process.exit(wrong ? 1 : 0);
