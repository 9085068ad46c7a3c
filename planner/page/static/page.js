// What needs no reload: dropping a file, watching a plan, trying changes. All of it works without.
"use strict";

const menu = document.querySelector(".menu details");
if (menu && matchMedia("(min-width: 56.01rem)").matches) menu.open = true;

const drop = document.querySelector(".drop");
if (drop) {
  const input = drop.querySelector("input[type=file]");
  const said = drop.querySelector(".said");
  const most = Number(drop.dataset.most);
  const say = (what) => { said.hidden = !what; said.textContent = what; return !what; };
  const mind = () => {
    const file = input.files[0];
    const large = file !== undefined && file.size > most;
    return say(large ? `That file is too large: ${file.size.toLocaleString("en-US")} bytes; at most ${most.toLocaleString("en-US")} are taken.` : "");
  };
  input.addEventListener("change", mind);
  drop.addEventListener("submit", (event) => { if (!mind()) event.preventDefault(); });
  for (const kind of ["dragover", "dragenter"]) {
    drop.addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
  }
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    const { files, items } = event.dataTransfer;
    if (files.length > 1) say("Drop one workbook at a time.");
    else if (items[0]?.webkitGetAsEntry?.()?.isDirectory) {
      say(`That is a folder. A folder of CSV files goes into ${drop.dataset.folder}; then load this page again.`);
    } else if (files.length) {
      input.files = files;
      if (mind()) drop.requestSubmit();
    }
  });
  for (const kind of ["dragover", "drop"]) {
    window.addEventListener(kind, (event) => event.preventDefault());
  }
}

for (const form of document.querySelectorAll("form[data-sure]")) {
  form.addEventListener("submit", (event) => { if (!confirm(form.dataset.sure)) event.preventDefault(); });
}

const live = document.getElementById("live");
if (live && !live.dataset.over) {
  const heard = document.getElementById("heard");
  const lost = document.getElementById("lost");
  const every = 1000, tell = 10;
  let turns = 0, before = "";
  const figures = () => [...live.querySelectorAll(".figure")].map((f) =>
    `${f.querySelector("dt").textContent}: ${f.querySelector(".big").textContent}`).join(", ");
  const look = async () => {
    let over = false;
    try {
      const answer = await fetch(live.dataset.part, { credentials: "same-origin" });
      if (answer.status === 401 || answer.status === 404) { location.reload(); return; } // started anew
      if (!answer.ok) throw new Error(String(answer.status));
      lost.hidden = true;
      const held = live.contains(document.activeElement) ? document.activeElement.tagName : "";
      live.innerHTML = await answer.text();
      if (held) live.querySelector(held)?.focus({ preventScroll: true });
      const state = live.querySelector(".state");
      const phase = live.querySelector(".phase").textContent.trim();
      if (phase !== before || turns % tell === 0) heard.textContent = `${phase}. ${figures()}`;
      before = phase;
      over = Boolean(state.dataset.over);
      if (over && !state.dataset.failed) { location.replace(live.dataset.then); return; }
      if (over) { location.reload(); return; }
    } catch {
      lost.hidden = false;
    }
    turns += 1;
    setTimeout(look, every);
  };
  setTimeout(look, every);
}

const trying = document.querySelector("form.try");
if (trying) {
  const result = document.getElementById("result");
  let asked = 0, timer = 0;
  result.setAttribute("aria-live", "polite");
  const count = async () => {
    asked += 1;
    const mine = asked;
    try {
      const answer = await fetch(trying.dataset.part, {
        method: "POST", body: new FormData(trying), credentials: "same-origin" });
      const text = await answer.text();
      if (mine !== asked) return;
      if (answer.status === 401) { location.reload(); return; } // started anew
      if (answer.ok) result.innerHTML = text;
      else result.replaceChildren(...new DOMParser().parseFromString(text, "text/html").querySelectorAll("main p"));
    } catch {
      if (mine === asked) result.textContent = "The page does not answer. Is it still running?";
    }
  };
  trying.addEventListener("input", (event) => {
    if (!event.target.closest(".entry")) return;
    const row = event.target.closest("tr");
    row.classList.toggle("changed", event.target.value !== row.querySelector("td.number").textContent);
    clearTimeout(timer);
    timer = setTimeout(count, 60);
  });
}
