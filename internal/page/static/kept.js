// What the page says of what worker.js keeps: since when the rounds are old, what waits to
// be sent and what was not taken. Without it, or without a worker, the page works the same
// where there is a network.
"use strict";
{
  const { worker } = document.currentScript.dataset;
  const cellar = document.querySelector("#cellar");
  const keptAt = Number(document.body.dataset.kept);

  const make = (tag, text, put = {}) => Object.assign(document.createElement(tag), { textContent: text, ...put });

  const ago = (ms) => {
    const minutes = Math.round(ms / 60_000), hours = Math.round(minutes / 60), days = Math.round(hours / 24);
    const [n, unit] = days > 1 ? [days, "days"] : hours > 1 ? [hours, "hours"] : [Math.max(minutes, 1), minutes > 1 ? "minutes" : "minute"];
    return `${n} ${unit} old`;
  };

  const words = (form) => {
    const f = Object.fromEntries(new URLSearchParams(form));
    if (f.as === "struck") return `line ${f.line} struck`;
    if (f.text) return f.text;
    const amount = f.amount ? ` ${f.amount} ${f.unit ?? ""}`.trimEnd() : "";
    return `${f.bin}${f.zone ? "/" + f.zone : ""} ${f.what}${amount}${f.of ? " of " + f.of : ""}${f.to ? " to " + f.to : ""}${f.words ? ": " + f.words : ""}`;
  };

  const ask = (message) => navigator.serviceWorker.ready.then((r) => r.active.postMessage(message));

  const refused = (line) => {
    const item = make("li", `${words(line.form)}: ${line.refused} `);
    if (line.again) item.append(make("button", "I did it too", { onclick: () => ask({ do: "again", n: line.n }) }), " ");
    const right = make("a", "Put it right", { className: "button", href: "/jot?text=" + encodeURIComponent(words(line.form)) });
    if (!line.again) item.append(right, " ");
    item.append(make("button", "Leave it", { onclick: () => ask({ do: "drop", n: line.n }) }));
    return item;
  };

  // Of a line that waits, or has been sent since the page was made, the rounds ask no more.
  const mark = (line) => {
    const once = new URLSearchParams(line.form).get("once");
    const tick = [...document.querySelectorAll(".care form")].find((f) => f.elements.once?.value === once);
    tick?.replaceWith(make("p", line.sent ? "Sent." : "Waits to be sent.", { className: "waits" }));
  };

  const say = ({ lines, locked }) => {
    const box = document.querySelector("#kept"); // a page that looks again may have put in another
    if (!box) return;
    const out = [], waits = lines.filter((l) => !l.sent && !l.refused), not = lines.filter((l) => l.refused);
    if (keptAt) out.push(make("p", `No network here: ${cellar ? "these are the rounds" : "this is"} as of ${asOf()}, ${ago(Date.now() - keptAt)}. What you tick or write is sent later.`));
    if (waits.length) {
      const list = make("ul", "");
      list.append(...waits.map((l) => make("li", words(l.form))));
      out.push(make("p", `${waits.length} ${waits.length > 1 ? "lines wait" : "line waits"} to be sent:`), list);
    }
    if (waits.length && locked) out.push(make("a", "Log in, and they are sent", { className: "button", href: "/login?next=/rounds" }));
    if (not.length) {
      const list = make("ul", "");
      list.append(...not.map(refused));
      out.push(make("p", "Not written:"), list);
    }
    box.replaceChildren(...out);
    box.hidden = !out.length;
    lines.filter((l) => !l.refused).forEach(mark);
    document.body.dataset.waits = String(waits.length);
  };

  const asOf = () => document.querySelector("#asof")?.textContent.replace("as of ", "") ?? "";

  // On a kept page where a line is to be written, the place that was tapped is filled in, and
  // asked for no more.
  const fill = () => {
    const asked = new URLSearchParams(location.search), field = document.querySelector("#text");
    if (!keptAt || !field || !asked.get("bin")) return;
    field.form.elements.bin.value = asked.get("bin");
    field.form.elements.zone.value = asked.get("zone") ?? "";
    const place = asked.get("bin") + (asked.get("zone") ? ", " + asked.get("zone") : "");
    document.querySelector("h1").textContent = place[0].toUpperCase() + place.slice(1) + ": what was done?";
    for (const part of document.querySelectorAll("main > :not(h1, #kept)")) if (!part.contains(field)) part.remove();
  };

  const cannot = (why) => {
    if (!cellar) return;
    cellar.textContent = why + " Print the rounds for where there is no network.";
    cellar.hidden = false;
  };

  const start = async () => {
    if (!("serviceWorker" in navigator)) return cannot("At this address the phone can keep nothing: it needs https that it trusts.");
    navigator.serviceWorker.addEventListener("message", (event) => say(event.data));
    const look = () => ask({ do: "look" });
    try {
      await navigator.serviceWorker.register(worker, { scope: "/" });
    } catch {
      return navigator.serviceWorker.controller ? look() : cannot("This phone keeps nothing: it does not trust this machine's certificate, or stores nothing for pages.");
    }
    look();
    window.addEventListener("online", look);
    document.addEventListener("looked", look);
    navigator.storage?.persist?.().catch(() => {});
  };

  fill();
  if (keptAt) say({ lines: [] });
  if (document.querySelector("#kept")) start();
}
