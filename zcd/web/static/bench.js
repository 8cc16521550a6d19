"use strict";

// Says so where the server is not reached, and asks again for what was left open when it is back.
const unreached = document.getElementById("unreached");

document.addEventListener("htmx:error", (event) => {
  if (!event.detail.ctx || event.detail.ctx.response || unreached.textContent) return;
  document.body.classList.add("stale");
  unreached.textContent =
    "No answer from zcd. Start zcd bench again: what you have typed stays here, and what was entered is kept in the job file.";
});

// A server that was started anew refuses (403) until its own address was opened here.
document.addEventListener("htmx:before:response", (event) => {
  if (!unreached.textContent || event.detail.ctx?.response?.raw.status === 403) return;
  unreached.textContent = "";
  document.body.classList.remove("stale");
  for (const left of document.querySelectorAll("[aria-busy=true], #fields")) {
    htmx.trigger(left, "again");
  }
});

// What is refused at the door comes as plain text: it stands until something else is sent. What the
// page fetches by itself, such as the verdict, takes nothing away.
const refused = () => document.getElementById("refused");
document.addEventListener("htmx:response:error", (event) => {
  const ctx = event.detail.ctx;
  if (!ctx.response.headers.get("content-type")?.startsWith("text/plain")) return;
  ctx.swap = "none";
  refused().textContent = `${ctx.request.method === "POST" ? "Not saved: " : ""}${ctx.text}.`;
});

// An answer leaves out what the page shows already.
document.addEventListener("htmx:before:request", (event) => {
  if (event.detail.ctx.sourceElement.id === "alive") return;
  if (event.detail.ctx.request.method === "POST") refused().textContent = "";
  const pieces = [...document.querySelectorAll("[data-mark]")];
  event.detail.ctx.request.headers.Narrow = innerWidth < 768 ? "narrow" : "";
  event.detail.ctx.request.headers.Shown = pieces.map((e) => `${e.id}=${e.dataset.mark}`).join(" ");
});

// Each key is counted, as a browser may send a later one first.
for (const kind of ["input", "click"]) {
  document.addEventListener(kind, () => {
    for (const each of document.getElementsByName("window")) {
      each.value = each.value.replace(/\d+$/, (turn) => Number(turn) + 1);
    }
  }, true);
}

// What was typed after the last answer is kept before one leaves.
const kept = document.querySelector("form.kept");
const typed = () => new URLSearchParams(new FormData(kept));
if (kept) {
  const text = () => { const all = typed(); ["window", "at"].forEach((name) => all.delete(name)); return all.toString(); };
  let answered = text();
  const asked = () => {
    const all = typed();
    if (!all.has("window")) all.set("window", document.getElementById("window").value);
    return all;
  };
  document.addEventListener("htmx:before:request", (event) => {
    event.detail.ctx.typed = text();
  });
  document.addEventListener("htmx:finally:request", (event) => {
    const ctx = event.detail.ctx;
    if (ctx.response?.raw.ok && ctx.request.method === "POST") answered = ctx.typed;
  });
  // What a piece of the sheet brings with it was not typed, and a form that is sent says it all.
  let untouched = false;
  document.addEventListener("htmx:before:swap", () => { untouched = text() === answered; });
  document.addEventListener("htmx:after:swap", () => { if (untouched) answered = text(); });
  kept.addEventListener("submit", () => { if (!kept.hasAttribute("hx-post")) answered = text(); });
  document.addEventListener("click", async (event) => {
    const link = event.target.closest("a[href^='/']");
    if (!link || text() === answered || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    try { await fetch(kept.action, { method: "POST", body: asked() }); } finally { location.assign(link.href); }
  });
  addEventListener("pagehide", () => {
    if (text() !== answered) navigator.sendBeacon(kept.action, asked());
  });

  // What every step of the slider shows comes at once, when a hand or the focus comes to it, and is
  // drawn here while it moves; where it stays, the server draws the sheet.
  const slider = document.getElementById("at");
  let steps = { of: null };
  async function askSteps() {
    const of = text();
    if (steps.of === of || of !== answered) return;
    steps = { of };
    const response = await fetch(slider.dataset.steps);
    if (response.status !== 200 || steps.of !== of) return;
    const got = await response.json();
    for (const lane of Object.values(got.lanes)) {
      lane.y = lane.lower.map((at) => { let y = 0; return at.map((by) => (y += by) / 10); });
    }
    steps = { of, ...got };
  }
  function drawStep() {
    const step = Number(slider.value), moving = document.getElementById("moving");
    if (!steps.told || steps.of !== text()) return;
    for (const [id, lines] of [["lock", steps.told], ["pulse", steps.pulse]]) document.getElementById(id).textContent = lines[step];
    for (const group of moving.querySelectorAll("g.lane")) {
      const lane = steps.lanes[group.dataset.ref];
      group.querySelectorAll("polyline")[1].setAttribute("points", steps.x.map((x, k) => `${x},${lane.y[k][step]}`).join(" "));
      group.querySelectorAll("text")[1].textContent = lane.peak[step];
    }
    for (const [kind, svg] of Object.entries(steps.groups)) moving.querySelector(`g.${kind}`).outerHTML = svg[step];
    for (const group of document.querySelectorAll("#shown g.node")) {
      const words = group.querySelector("text[font-weight]"), texts = steps.nodes[group.dataset.ref];
      if (words && texts) words.textContent = texts[step];
    }
    for (const piece of [moving, document.getElementById("shown")]) delete piece.dataset.mark;
  }
  for (const kind of ["pointerenter", "focus", "input"]) {
    slider?.addEventListener(kind, () => askSteps().then(drawStep));
  }
}

// On a phone the reading comes first: its caution is said in a line, and unfolds.
if (innerWidth < 768) document.querySelector("details.danger")?.removeAttribute("open");

// An exercise is typed into from the first; its complaint stays in sight.
document.getElementById("line")?.focus({ preventScroll: true });

// What is typed while an answer is on its way goes on in the field that takes the place of this one;
// what was begun for one reading never in that of another.
let typedInto = null;
document.addEventListener("htmx:before:request", (event) => {
  const source = event.detail.ctx.sourceElement, form = source.closest("form");
  const sent = [source, ...(form?.querySelectorAll("input[id]") ?? [])];
  event.detail.ctx.sent = new Map(sent.map((field) => [field.id, field.value]));
});
document.addEventListener("htmx:before:swap", (event) => {
  const field = document.activeElement, sent = event.detail.ctx.sent?.get(field.id);
  const touched = field.matches("input[id]") && field.value !== (sent ?? field.defaultValue);
  typedInto = touched ? { field, sent } : null;
});
document.addEventListener("htmx:after:swap", () => {
  const { field, sent } = typedInto ?? {}, now = document.getElementById(field?.id);
  const about = (each) => each.name + (sent === undefined ? each.form?.elements.at?.value : "");
  if (!now || now === field || about(now) !== about(field)) return;
  now.value = field.value.startsWith(sent) ? now.value + field.value.slice(sent.length) : field.value;
  now.focus();
  now.dispatchEvent(new Event("input", { bubbles: true }));
});

// The hand goes on to what comes next: the answer, the part to fit, the field after this one.
document.addEventListener("htmx:after:swap", () => {
  const told = document.querySelector("[data-next]");
  const next = document.getElementById(told?.dataset.next);
  if (next) {
    next.closest("details").open = true;
    const aim = next.matches("a, button") ? next : next.querySelector("[aria-required], .primary");
    if (aim) told.removeAttribute("data-next");
    aim?.focus();
  }
  if (document.activeElement.matches("#step-3 .primary")) {
    [...document.querySelectorAll("#add input")].find((field) => !field.value)?.focus();
  }
  if (document.activeElement.id === "line") document.activeElement.select();
  if (document.activeElement !== document.body) return;
  document.querySelector("#next :is(#answer, .primary), .step[open] [aria-required], .step[open] .primary, #fields [autofocus], #review")?.focus();
});

document.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches(".repeat input")) return;
  event.preventDefault();
  const all = [...document.querySelectorAll(".repeat input, #step-3 .primary")];
  all[all.indexOf(event.target) + 1]?.focus();
});

// A part of the circuit, or a word about a field, leads to the field.
const SECOND_CLICK_MS = 300;
let scrolling = 0;
function goTo(field, after = 0) {
  for (let fold = field?.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  field?.focus({ preventScroll: true });
  field?.select?.();
  clearTimeout(scrolling);
  if (field) scrolling = setTimeout(() => field.scrollIntoView({ block: "nearest" }), after);
}
function fieldOf(part) {
  const homes = JSON.parse(document.getElementById("homes")?.textContent || "{}");
  const ref = part?.dataset.ref ?? "";
  return document.getElementById(homes[ref] ?? homes[ref.split(".")[0]]);
}
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href^='#field-']");
  if (link) event.preventDefault();
  const part = event.target.closest(".circuit g.part");
  if (event.target.closest("a[href='#rules']")) document.querySelector("#rules details").open = true;
  if (link) goTo(document.getElementById(link.hash.slice(1)));
  else if (part) goTo(fieldOf(part), SECOND_CLICK_MS);
});

// A double click changes it in place: a field over the part, of which all goes into its own.
document.addEventListener("dblclick", (event) => {
  const part = event.target.closest(".circuit g.part"), field = fieldOf(part);
  if (!field) return;
  const over = field.cloneNode(true), at = part.getBoundingClientRect();
  for (const name of ["id", "name", "aria-describedby"]) over.removeAttribute(name);
  over.setAttribute("aria-label", field.labels[0].textContent);
  over.className = "inplace";
  over.style.left = `${Math.min(at.left + scrollX, scrollX + innerWidth - 210)}px`;
  over.style.top = `${at.bottom + scrollY}px`;
  over.value = field.value;
  over.addEventListener("input", () => {
    field.value = over.value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
  over.addEventListener("keydown", (e) => { if (["Enter", "Escape"].includes(e.key)) field.focus(); });
  over.addEventListener("blur", () => over.remove());
  document.querySelector("main").append(over);
  goTo(over);
});

// Two points of the circuit, one after the other, choose where the probes go.
let blackNext = false;
document.addEventListener("click", (event) => {
  const node = event.target.closest(".circuit g.node")?.dataset.ref;
  const select = document.getElementById(blackNext ? "another-black" : "another-red");
  if (!node || !select) return;
  select.value = node;
  for (const chosen of document.querySelectorAll(".circuit .chosen")) chosen.classList.remove("chosen");
  for (const id of ["another-red", "another-black"]) {
    const name = CSS.escape(document.getElementById(id).value);
    for (const g of document.querySelectorAll(`.circuit g.node[data-ref="${name}"]`)) g.classList.add("chosen");
  }
  if (blackNext) document.getElementById("another-say").focus();
  blackNext = !blackNext;
});

// A cell is aligned as its head, and says on a phone what its column is.
function headed() {
  for (const table of document.querySelectorAll(".wide table:not(.headed, #listed *)")) {
    table.classList.add("headed");
    for (const row of table.tBodies[0].rows) {
      [...row.cells].forEach((cell, k) => {
        const head = table.tHead.rows[0].cells[k];
        cell.dataset.head = head.textContent;
        cell.classList.toggle("right", head.className === "right");
      });
    }
  }
}
headed();
document.addEventListener("htmx:after:swap", headed);

// What is said stands on paper, folded on the screen or not.
addEventListener("beforeprint", () => {
  for (const step of document.querySelectorAll(".step[name], .danger, #all, #rules > details:first-of-type")) {
    step.removeAttribute("name");
    step.open = true;
  }
  for (const folded of document.querySelectorAll("#fields details:not([open])")) {
    folded.open = [...folded.querySelectorAll("input, select")].some((e) => e.value);
  }
});
