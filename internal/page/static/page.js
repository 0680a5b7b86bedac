// A page left open looks again by itself, and a curve tells its value under a
// finger. Both are extras: without this file every page works the same.
"use strict";

// --- finding one among many -----------------------------------------------
// Rows that do not say every word are put away while one types; the form does the
// same by itself.
const wasOpen = new Map();
const find = () => {
  const field = document.querySelector("#find");
  if (!field) return;
  const words = field.value.toLowerCase().split(/\s+/).filter(Boolean), finding = words.length > 0;
  for (const strip of document.querySelectorAll(".strip")) {
    const place = strip.querySelector("h2")?.textContent ?? "";
    let any = false;
    for (const row of strip.querySelectorAll(".rows > li, .probes > li")) {
      const text = (place + " " + row.innerHTML.replace(/<[^>]*>/g, " ")).toLowerCase(); // words of two elements are two
      row.hidden = !words.every((w) => text.includes(w));
      any ||= !row.hidden;
    }
    strip.hidden = finding && !any;
    for (const d of strip.querySelectorAll("details")) {
      if (finding && !wasOpen.has(d.id)) wasOpen.set(d.id, d.open);
      if (finding || wasOpen.has(d.id)) d.open = finding || wasOpen.get(d.id);
    }
  }
  if (!finding) wasOpen.clear();
  document.body.classList.toggle("finding", finding);
};
document.addEventListener("input", (event) => { if (event.target.id === "find") find(); });
window.addEventListener("pageshow", find); // a browser that comes back may have kept the words

// --- looking again -------------------------------------------------------
// Only the parts marked data-live that have changed come and are put in, and never one
// that the keeper is busy with: a half-filled form stays as it is.
{
  const every = Number(document.body.dataset.refresh);

  const busy = (part) =>
    part.contains(document.activeElement) && document.activeElement.matches("input, select, :focus-visible") ||
    [...part.querySelectorAll("input:not([type=hidden])")].some((i) => i.value !== i.defaultValue) ||
    [...part.querySelectorAll("option")].some((o) => o.selected !== o.defaultSelected);

  // What the keeper has unfolded stays so.
  const keepOpen = (from, to) => {
    const ids = [...from.querySelectorAll("details[open]")].map((d) => d.id);
    for (const d of to.querySelectorAll("details")) d.open = ids.includes(d.id);
  };

  const partsOf = (doc) => [...doc.querySelectorAll("[data-live]")];

  const look = async () => {
    if (document.hidden) return;
    const order = document.body.dataset.parts, marks = partsOf(document).map((part) => part.dataset.live);
    const holds = [order, ...marks].join(" ").slice(0, 7000); // a header that any proxy takes
    const answer = await fetch(location.href, { credentials: "same-origin", redirect: "error", headers: { "Page-Holds": holds } });
    if (!answer.ok) return;
    if (document.body.dataset.kept && !busy(document.querySelector("main"))) return location.reload(); // the network is back
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    const main = document.querySelector("main"), now = fresh.body.dataset.parts; // none where parts alone came
    if (now === undefined || now === order) {
      for (const part of partsOf(fresh)) {
        const held = document.getElementById(part.id); // itself, if it came with the one around it
        if (!held || held.dataset.live === part.dataset.live || busy(held)) continue;
        keepOpen(held, part);
        held.replaceWith(part);
      }
    } else if (!busy(main)) {
      const next = fresh.querySelector("main");
      keepOpen(main, next);
      main.replaceWith(next);
      document.body.dataset.parts = now;
    }
    find();
    document.body.dataset.looked = String(Number(document.body.dataset.looked || 0) + 1);
    document.dispatchEvent(new Event("looked"));
  };

  if (every > 0) {
    const again = () => setTimeout(() => look().catch(() => {}).finally(again), every);
    again();
    document.addEventListener("visibilitychange", () => { if (!document.hidden) look().catch(() => {}); });
  }
}

// --- reading a value off a curve -----------------------------------------
{
  const SVG = "http://www.w3.org/2000/svg";
  const zone = document.body.dataset.timezone;

  const clock = (() => {
    const how = { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" };
    try {
      return new Intl.DateTimeFormat("en-GB", { ...how, timeZone: zone });
    } catch {
      return new Intl.DateTimeFormat("en-GB", how);
    }
  })();

  // runsOf turns a curve's path back into its stretches of corners, 0..1 across
  // and down.
  const runsOf = (cut) => {
    const frame = cut.querySelector("svg"), run = cut.querySelector(".run");
    if (!frame || !run) return [];
    const { width, height } = frame.viewBox.baseVal;
    const runs = [];
    let x = 0, y = 0;
    for (const [, letter, a, b] of run.getAttribute("d").matchAll(/([Ml])(-?\d+) ?(-?\d+)/g)) {
      if (letter === "M") runs.push([]);
      [x, y] = letter === "M" ? [Number(a), Number(b)] : [x + Number(a), y + Number(b)];
      runs.at(-1).push([x / width, y / height]);
    }
    return runs;
  };

  // placeAt is the curve's own place nearest to x, between two corners where it
  // runs past.
  const placeAt = (cut, x) => {
    let best = null;
    const offer = (p) => { if (!best || Math.abs(p[0] - x) < Math.abs(best[0] - x)) best = p; };
    for (const run of runsOf(cut)) {
      run.forEach((p, i) => {
        offer(p);
        const q = run[i + 1];
        if (q && p[0] <= x && x <= q[0] && q[0] > p[0]) offer([x, p[1] + ((x - p[0]) / (q[0] - p[0])) * (q[1] - p[1])]);
      });
    }
    return best;
  };

  const lineOf = (cut) => {
    let line = cut.querySelector(".point");
    if (!line) {
      line = document.createElementNS(SVG, "line");
      line.setAttribute("class", "point");
      cut.append(line);
    }
    return line;
  };

  const readoutOf = (cut) => {
    let out = cut.parentElement.querySelector(".readout");
    if (!out) {
      out = document.createElement("output");
      out.className = "readout";
      cut.after(out);
    }
    return out;
  };

  const tell = (cut, at) => {
    const [from, to, low, high, unit] = cut.dataset.axes.split(" "), [x, y] = at;
    const time = Number(from) + x * (to - from);
    const value = Number(high) - y * (high - low);
    const line = lineOf(cut), place = `${(x * 100).toFixed(2)}%`;
    line.setAttribute("x1", place);
    line.setAttribute("x2", place);
    line.setAttribute("y2", cut.querySelector("svg").getAttribute("height"));
    readoutOf(cut).textContent = `${value.toFixed(unit === "%" ? 0 : 1)} ${unit}, ${clock.format(new Date(time * 1000))}`;
    cut.dataset.at = String(x);
  };

  const away = (cut) => {
    cut.querySelector(".point")?.remove();
    cut.parentElement.querySelector(".readout")?.remove();
    delete cut.dataset.at;
  };

  const point = (event) => {
    const cut = event.target.closest?.(".cut:not(.bare)");
    if (!cut) return;
    const box = cut.getBoundingClientRect();
    const at = placeAt(cut, (event.clientX - box.left) / box.width);
    if (at) tell(cut, at);
  };

  document.addEventListener("pointermove", point);
  document.addEventListener("pointerdown", point);
  document.addEventListener("pointerout", (event) => {
    const cut = event.target.closest?.(".cut:not(.bare)");
    if (cut && event.pointerType === "mouse" && !cut.contains(event.relatedTarget)) away(cut);
  });
  document.addEventListener("focusout", (event) => { if (event.target.matches?.(".cut")) away(event.target); });
  document.addEventListener("keydown", (event) => {
    const cut = event.target.closest?.(".cut:not(.bare)");
    const by = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!cut || !by) return;
    const here = cut.dataset.at === undefined ? 1 : Number(cut.dataset.at) + by / 100;
    const at = placeAt(cut, Math.min(Math.max(here, 0), 1));
    if (at) tell(cut, at);
    event.preventDefault();
  });
}
