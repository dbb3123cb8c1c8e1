// Keeps the page live. The server draws every part; this puts the parts in place, counts seconds between them, and
// sends forms without leaving the page. Everything works without it, only slower.
"use strict";
(() => {
  const body = document.body;
  const page = body.dataset.page;
  if (!page) return;
  document.documentElement.classList.add("js");
  const news = document.getElementById("news");
  const answer = document.getElementById("answer");
  const spoken = document.getElementById("spoken");
  const clock = () => performance.now() / 1000;
  const OLD_S = 3;

  // ---- time: the controller's own clock, and how long ago its control thread was last heard

  let ahead = Number(body.dataset.now) - clock();
  let heard = clock();
  let asleep = false;
  const now = () => clock() + ahead;

  const span = (value, left) => {
    const round = left ? Math.ceil : Math.floor;
    const whole = Math.max(0, round(value));
    if (whole < 120) return `${whole}\u00a0s`;
    const minutes = round(whole / 60);
    return minutes < 60 ? `${minutes}\u00a0min` : `${Math.floor(minutes / 60)}\u00a0h ${minutes % 60}\u00a0min`;
  };
  const put = (element, text) => {
    if (element.textContent !== text) element.textContent = text;
  };
  const count = () => {
    const silence = clock() - heard;
    const old = asleep || silence > OLD_S;
    body.classList.toggle("stale", old);
    if (old) {
      put(news, asleep
        ? "Fetching what is so now. The shop may have changed."
        : `No news from the controller for ${Math.floor(silence)}\u00a0s. The shop may be running.`);
    }
    if (news.hidden === old) {
      news.hidden = !old;
      put(spoken, old ? "No news from the controller. The shop may be running." : "The controller is heard again.");
    }
    if (old) return; // what is old does not count on
    const at = now();
    for (const t of document.querySelectorAll("[data-until]")) put(t, span(t.dataset.until - at, true));
    for (const t of document.querySelectorAll("[data-since]")) put(t, span(at - t.dataset.since, false));
    for (const e of document.querySelectorAll("[data-gone]")) e.hidden = Number(e.dataset.gone) <= at;
  };

  // ---- parts: what changed is changed in place, so focus, scroll and a finger on a scale stay where they are

  const same = (a, b) => a.nodeName === b.nodeName && (a.nodeType !== 1 || a.dataset.key === b.dataset.key);
  const become = (a, b) => {
    if (a.nodeType !== 1) {
      if (a.data !== b.data) a.data = b.data;
      return;
    }
    if (a.dataset.busy !== undefined || a.classList.contains("holding")) return; // under a finger
    for (const { name } of [...a.attributes]) {
      if (!b.hasAttribute(name) && !(name === "open" || name === "hidden")) a.removeAttribute(name);
    }
    for (const { name, value } of b.attributes) {
      if (name !== "open" && a.getAttribute(name) !== value) a.setAttribute(name, value); // the reader opens and shuts
    }
    if (a.nodeName === "INPUT") {
      if (a !== document.activeElement && a.type === "range") a.value = b.getAttribute("value");
      return;
    }
    children(a, b);
  };
  const children = (a, b) => {
    let old = a.firstChild;
    for (const fresh of [...b.childNodes]) {
      let found = old;
      while (found && !same(found, fresh)) found = found.nextSibling;
      if (!found) {
        a.insertBefore(fresh, old);
        continue;
      }
      if (found !== old) a.insertBefore(found, old);
      else old = old.nextSibling;
      become(found, fresh);
    }
    while (old) {
      const next = old.nextSibling;
      old.remove();
      old = next;
    }
  };
  const latest = {};
  const show = (id) => {
    const place = document.getElementById(id);
    if (!place || latest[id] === undefined) return;
    const fresh = document.createElement("template");
    fresh.innerHTML = latest[id];
    if (id === "spin") settle(place, fresh.content);
    children(place, fresh.content);
    if (id === "top") speak(place);
    if (id === "spin") place.querySelectorAll(".spin").forEach(fit);
  };
  let toldLast = "";
  const speak = (place) => {
    // Read out when the sentence changes, not when its seconds do.
    const bones = place.textContent.replace(/\d+/g, "");
    if (bones !== toldLast && toldLast) put(spoken, place.textContent);
    toldLast = bones;
  };

  // ---- stream: one per page, closed while nobody looks, everything anew afterwards

  let stream = null;
  let again = 0;
  const open = () => {
    close();
    stream = new EventSource("/live?page=" + encodeURIComponent(page));
    stream.addEventListener("beat", (event) => {
      const [at, step] = event.data.split(" ").map(Number);
      ahead = at - clock();
      heard = clock() - (at - step);
    });
    stream.onmessage = (event) => {
      const parts = JSON.parse(event.data);
      for (const id in parts) {
        latest[id] = parts[id];
        show(id);
      }
      asleep = false;
      count();
    };
    stream.onerror = () => {
      if (stream && stream.readyState === EventSource.CLOSED) {
        clearTimeout(again);
        again = setTimeout(open, 2000);
      }
    };
  };
  const close = () => {
    clearTimeout(again);
    if (stream) stream.close();
    stream = null;
  };
  const wake = () => {
    asleep = true;
    count();
    open();
  };
  document.addEventListener("visibilitychange", () => (document.hidden ? close() : wake()));
  addEventListener("pageshow", (event) => event.persisted && wake());
  addEventListener("pagehide", close);

  // ---- asking

  const LATE_MS = 3000;
  const send = async (action, fields) => {
    const gaveUp = new AbortController();
    const timer = setTimeout(() => gaveUp.abort(), LATE_MS);
    try {
      const response = await fetch(action, {
        method: "POST",
        body: new URLSearchParams(fields),
        headers: { Accept: "application/json" },
        signal: gaveUp.signal,
      });
      const told = await response.json();
      if (told.code === "needs_pin") location.href = "/sign-in?back=" + encodeURIComponent(location.pathname);
      return told;
    } catch {
      return { accepted: false, code: "no_answer", sentence: "No answer from the controller. Look before you try again." };
    } finally {
      clearTimeout(timer);
    }
  };
  let silent = 0;
  const say = (sentence) => {
    clearTimeout(silent);
    answer.textContent = sentence;
    silent = setTimeout(say, 10000, "");
  };
  const ask = async (form, more) => {
    const told = await send(form.action, [...new FormData(form), ...more]);
    say(told.sentence);
    if (told.accepted && form.parentNode?.nodeName === "DETAILS") form.parentNode.open = false;
  };

  // Stop: "Sent" at once, then only what the controller confirms, else the red button.
  const stopped = () => document.querySelector("#stops [data-stop]");
  const note = (text) => {
    const p = document.createElement("p");
    p.dataset.stop = "";
    p.textContent = text;
    document.getElementById("stops").replaceChildren(p);
  };
  let stopping = 0;
  const stop = async (form) => {
    delete latest.stops;
    note("Sent.");
    clearTimeout(stopping);
    const RED = "Not confirmed. Use the red button.";
    const confirmed = () => /^stop/.test(stopped()?.dataset.stop ?? "");
    stopping = setTimeout(() => confirmed() || note(RED), 2000);
    const told = await send(form.action, [...new FormData(form)]);
    if (!told.accepted) {
      clearTimeout(stopping);
      note(told.sentence.includes(RED) || told.code === "no_answer" ? RED : told.sentence + " Use the red button.");
    }
  };
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.id === "stop") {
      event.preventDefault();
      stop(form);
    } else if (form.dataset.step) {
      event.preventDefault();
      step(form);
    } else if (form.dataset.ask !== undefined && !form.querySelector("[data-hold]")) {
      event.preventDefault();
      ask(form, []);
    }
  });

  // ---- holding: one second under the finger; a keyboard or a screen reader gets the page that asks once more

  let held = 0;
  const letGo = () => {
    clearTimeout(held);
    for (const button of document.querySelectorAll(".holding")) {
      button.classList.remove("holding");
      if (button.form) delete button.form.dataset.busy;
    }
  };
  document.addEventListener("pointerdown", (event) => {
    const button = event.target.closest("[data-hold], [data-unlock]");
    if (!button || event.button) return;
    button.classList.add("holding");
    if (button.form) button.form.dataset.busy = ""; // what is pressed is what was in sight when the finger came
    held = setTimeout(() => {
      letGo();
      if (button.dataset.unlock !== undefined) unlock(button.closest(".spin"));
      else ask(button.form, [["held", "1"]]);
    }, 1000);
  });
  for (const name of ["pointerup", "pointercancel", "scroll"]) addEventListener(name, letGo, { passive: true });
  document.addEventListener("contextmenu", (event) => event.target.closest("[data-hold], [data-unlock]") && event.preventDefault());
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-hold], [data-unlock]");
    if (!button) return;
    if (event.detail === 0) {
      if (button.dataset.unlock !== undefined) unlock(button.closest(".spin"));
      return;
    }
    event.preventDefault();
  });

  // ---- the spin-down delay: changes under the finger, one request at a time, the newest last

  const seconds = (value) => `${Number(Number(value).toFixed(1))}\u00a0s`;
  const unlocked = new Set();
  const unlock = (spin) => {
    unlocked.add(spin.dataset.subject);
    fit(spin);
    spin.querySelector("[type=range]").focus();
  };
  const fit = (spin) => {
    const low = unlocked.has(spin.dataset.subject) ? Math.ceil(spin.dataset.low) : null;
    if (low === null) return;
    spin.querySelector("[type=range]").min = low;
    spin.querySelector(".ends span").textContent = seconds(low);
    spin.querySelector("[data-unlock]")?.setAttribute("hidden", "");
    spin.querySelector("[data-step=less] button").disabled = spin.dataset.value <= low;
  };
  const draw = (spin, value) => {
    const { clear, ofTool } = spin.dataset;
    spin.dataset.value = value;
    spin.querySelector(".number b").textContent = value;
    spin.querySelector("[type=range]").value = value;
    spin.querySelector(".effect").textContent = ofTool === undefined
      ? `Keeps running ${seconds(value)} after the last tool stops. The longest branch needs ${seconds(clear)} to clear.`
      : `Keeps running ${seconds(value)} after this machine stops. Its own branch needs ${seconds(clear)} to clear.`;
    const range = spin.querySelector("[type=range]");
    const step = (css, to, out) => {
      const form = spin.querySelector(`[data-step=${css}]`);
      form.elements.value_s.value = to;
      form.querySelector("button").disabled = out;
    };
    step("less", Math.ceil(value) - 1, Math.ceil(value) - 1 < range.min);
    step("more", Math.floor(value) + 1, Math.floor(value) + 1 > range.max);
  };
  const wanted = new Map();
  const setting = new Set();
  const change = async (spin, value) => {
    const subject = spin.dataset.subject;
    spin.dataset.busy = "";
    draw(spin, value);
    wanted.set(subject, value);
    if (setting.has(subject)) return;
    setting.add(subject);
    let told = null;
    while (wanted.has(subject)) {
      const fields = [["subject", subject], ["value_s", wanted.get(subject)]];
      if (unlocked.has(subject)) fields.push(["held", "1"]);
      wanted.delete(subject);
      told = await send("/spin-down", fields);
    }
    setting.delete(subject);
    if (told.accepted) {
      // The control stays as the finger left it until the stream says the same, so it never jumps back in between.
      show("spin");
      setTimeout(rest, LATE_MS, spin);
    } else {
      say(told.sentence);
      rest(spin);
    }
  };
  const idle = (spin) => !fingers.has(spin) && !setting.has(spin.dataset.subject);
  const rest = (spin) => {
    if (!idle(spin)) return;
    delete spin.dataset.busy;
    show("spin");
  };
  const settle = (place, fresh) => {
    const told = new Map([...fresh.querySelectorAll(".spin")].map((e) => [e.dataset.subject, e.dataset.value]));
    for (const spin of place.querySelectorAll(".spin[data-busy]")) {
      if (idle(spin) && told.get(spin.dataset.subject) === spin.dataset.value) delete spin.dataset.busy;
    }
  };
  const step = (form) => change(form.closest(".spin"), Number(form.elements.value_s.value));
  const fingers = new Set();
  document.addEventListener("input", (event) => {
    const spin = event.target.type === "range" && event.target.closest(".spin");
    if (spin) change(spin, Number(event.target.value));
  });
  document.addEventListener("pointerdown", (event) => {
    const spin = event.target.type === "range" && event.target.closest(".spin");
    if (spin) {
      fingers.add(spin);
      spin.dataset.busy = "";
    }
  });
  for (const name of ["pointerup", "pointercancel"]) {
    addEventListener(name, () => {
      const lifted = [...fingers];
      fingers.clear();
      if (lifted.length) show("spin");
      for (const spin of lifted) setTimeout(rest, LATE_MS, spin);
    });
  }

  // What lies above the stop bar must know how high that is: it grows by the answer that stands in it.
  const foot = document.querySelector("footer");
  const measure = () => document.documentElement.style.setProperty("--foot", `${foot.offsetHeight}px`);
  if (window.ResizeObserver) new ResizeObserver(measure).observe(foot);
  measure();

  setInterval(count, 250);
  count();
  if (!document.hidden) open();
})();
