"use strict";
// Dropping and choosing scores, what is asked of them, and the news of what is under way. Without this script the
// page does the same by its buttons.
(() => {
  const EVERY = 500; // milliseconds between questions for what is new
  const gone = "No answer: was the room closed? Start it again, and repeat.";
  document.documentElement.classList.add("live");
  const form = document.getElementById("give");
  if (form) giving(form);
  following();
  needing();
  classing();
  document.addEventListener("change", (event) => { if (["want", "task"].includes(event.target.id)) needing(); });
  document.addEventListener("click", choosing);
  document.addEventListener("submit", asking);
  // On a file field Enter would send the form; it opens the field, as Space does.
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.type !== "file") return;
    event.preventDefault();
    event.target.click();
  });

  function giving(form) {
    const news = form.querySelector(".news");
    const limits = form.dataset;
    const endings = limits.endings.split(" ");

    form.addEventListener("change", (event) => {
      const picker = event.target;
      if (picker.files && picker.files.length) {
        give([...picker.files].map((file) => [file.webkitRelativePath || file.name, file]));
        picker.value = "";
      }
    });
    document.addEventListener("dragover", (event) => {
      event.preventDefault();
      form.classList.add("over");
    });
    document.addEventListener("dragleave", (event) => {
      if (!event.relatedTarget) form.classList.remove("over");
    });
    document.addEventListener("drop", async (event) => {
      event.preventDefault();
      form.classList.remove("over");
      const entries = [...event.dataTransfer.items]
        .map((item) => item.webkitGetAsEntry && item.webkitGetAsEntry());
      const plain = [...event.dataTransfer.files].map((file) => [file.name, file]);
      try {
        const found = [];
        for (const entry of entries) if (entry) await inside(entry, found);
        give(found.length ? found : plain);
      } catch {
        news.textContent = "What you dropped cannot be read; choose it with the button instead.";
      }
    });

    // All files below an entry that was dropped; stops where there are far too many.
    async function inside(entry, found) {
      if (found.length > 5000) return;
      if (entry.isFile) {
        const file = await new Promise((done, failed) => entry.file(done, failed));
        found.push([entry.fullPath.slice(1), file]);
        return;
      }
      const reader = entry.createReader();
      for (;;) {
        const some = await new Promise((done, failed) => reader.readEntries(done, failed));
        if (!some.length) return;
        for (const each of some) await inside(each, found);
      }
    }

    function give(all) {
      const known = ([name]) => endings.some((ending) => name.toLowerCase().endsWith(ending));
      const scores = all.filter(known);
      const refused = scores.length ? tooMuch(scores) : "";
      if (refused) {
        news.textContent = refused;
        return;
      }
      const data = new FormData();
      data.append("token", form.elements.token.value);
      // Where there is no score at all, the answer says what is wanted.
      const others = all.filter((each) => !known(each));
      for (const [name, file] of scores) data.append("scores", file, name);
      for (const [name] of others.slice(0, scores.length ? 40 : 1)) {
        data.append("scores", new Blob([]), name);
      }
      send(data, scores.length);
    }

    function tooMuch(scores) {
      const mega = Number(limits.mb);
      const large = scores.find(([name, file]) =>
        file.size > Number(name.toLowerCase().endsWith(".zip") ? limits.total : limits.file));
      if (large) return `${large[0]}: larger than a score can be here; choose another file.`;
      if (scores.length > Number(limits.files)) {
        return `${scores.length} scores are more than the ${limits.files} that can be given at once.`;
      }
      const total = scores.reduce((sum, [, file]) => sum + file.size, 0);
      if (total > Number(limits.total)) {
        return `More than ${Number(limits.total) / mega} MB at once; give fewer scores.`;
      }
      return "";
    }

    async function send(data, number) {
      news.textContent = number === 1 ? "Taking the score …" : "Taking the scores …";
      form.classList.add("busy");
      try {
        const answer = await fetch(form.action, {
          method: "POST", body: data, headers: { Accept: "text/plain" },
        });
        if (answer.ok) {
          location.assign(answer.url);
          return;
        }
        news.textContent = await answer.text();
      } catch {
        news.textContent = gone;
      }
      form.classList.remove("busy");
    }
  }

  // The links below the report are for the one that is shown.
  function choosing(event) {
    const link = event.target.closest("a[target=report], a[target=sheet]");
    if (!link) return;
    for (const each of document.querySelectorAll(`a[target=${link.target}]`)) {
      each.toggleAttribute("aria-current", each === link);
    }
    link.setAttribute("aria-current", "true");
    if (link.target !== "report") return;
    document.querySelector("a.alone").href = link.href;
    document.querySelector("a.save").href = `${link.href}?save`;
  }

  // Only what the chosen wish needs is asked for.
  function needing() {
    for (const id of ["want", "task"]) needed(document.getElementById(id));
  }

  function needed(want) {
    if (!want) return;
    const needs = want.selectedOptions[0].dataset.needs;
    const shown = { bar: ["bar"], bars: ["first", "last"], model: ["model", "bar"], part: ["part", "first", "last"], times: ["number"] }[needs] || [];
    for (const each of want.form.querySelectorAll(".need")) {
      each.hidden = !shown.includes(each.dataset.for);
      if (each.hidden) each.querySelector("select").value = "";
    }
  }

  // The table of a class: sorted, filtered, and one with the dots. What is chosen is kept
  // for the way back from a piece.
  function classing() {
    const table = document.getElementById("pieces");
    if (!table) return;
    const key = `class ${location.pathname}`;
    const fields = ["find", "medium", "device"].map((id) => document.getElementById(id));
    const kept = JSON.parse(sessionStorage.getItem(key) || "{}");
    if (!table.dataset.ready) {
      fields.forEach((each) => { if (kept[each.id]) each.value = kept[each.id]; });
      fields.forEach((each) => each.addEventListener("input", show));
      document.getElementById("filters").addEventListener("submit", (event) => event.preventDefault());
      table.addEventListener("click", sort);
      table.addEventListener("mouseover", point);
      table.addEventListener("mouseleave", () => mark(null));
      document.getElementById("content").addEventListener("click", leave);
    }
    const by = kept.by || "piece";
    order(by, kept.down || false);
    dots();
    show();
    if (!table.dataset.ready) comeBack();
    table.dataset.ready = "yes";

    function keep(more) {
      const now = JSON.parse(sessionStorage.getItem(key) || "{}");
      sessionStorage.setItem(key, JSON.stringify({ ...now, ...more }));
    }

    function links() {
      return [...document.querySelectorAll("#content a[href*='/piece/']")];
    }

    // Which link led to a piece, so that the way back ends at it.
    function leave(event) {
      const link = event.target.closest("a[href*='/piece/']");
      if (link && !event.defaultPrevented) keep({ left: links().indexOf(link) });
    }

    function comeBack() {
      const link = links()[kept.left];
      if (link) link.focus();
      keep({ left: undefined });
    }

    function sort(event) {
      const button = event.target.closest("button[data-by]");
      if (!button) return;
      const down = button.closest("th").getAttribute("aria-sort") === "ascending";
      order(button.dataset.by, down);
      keep({ by: button.dataset.by, down });
    }

    function order(by, down) {
      const heads = [...table.tHead.rows[0].cells];
      const place = heads.findIndex((each) => each.firstElementChild.dataset.by === by);
      heads.forEach((each) => each.removeAttribute("aria-sort"));
      heads[place].setAttribute("aria-sort", down ? "descending" : "ascending");
      const value = (row) => {
        const cell = row.cells[place];
        return cell && row.dataset.member ? cell.dataset.value || cell.textContent.trim() : "";
      };
      const name = (row) => row.cells[0].textContent.trim();
      const way = down ? -1 : 1;
      const rows = [...table.tBodies[0].rows].sort((one, two) =>
        // What could not be read stays at the end.
        (!one.dataset.member - !two.dataset.member)
        || way * value(one).localeCompare(value(two), undefined, { numeric: true })
        || name(one).localeCompare(name(two)));
      table.tBodies[0].append(...rows);
    }

    function show() {
      const [find, medium, device] = fields.map((each) => each.value);
      let shown = 0;
      for (const row of table.tBodies[0].rows) {
        const fits = row.textContent.toLowerCase().includes(find.trim().toLowerCase())
          && (!medium || row.dataset.medium === medium)
          && (!device || row.dataset.devices.split("|").includes(device));
        row.hidden = !fits;
        shown += fits;
      }
      const all = table.tBodies[0].rows.length;
      document.getElementById("shown").textContent = shown === all ? "" : `${shown} of ${all} shown`;
      for (const dot of document.querySelectorAll("a.dot")) {
        const row = table.querySelector(`tr[data-member="${dot.dataset.member}"]`);
        dot.classList.toggle("off", Boolean(row && row.hidden));
      }
      // By key a line is entered at its first dot that is shown.
      for (const line of document.querySelectorAll(".among")) {
        const all = [...line.querySelectorAll("a.dot")];
        const entry = all.find((dot) => !dot.classList.contains("off"));
        all.forEach((dot) => { dot.tabIndex = dot === entry ? 0 : -1; });
      }
      keep(Object.fromEntries(fields.map((each) => [each.id, each.value])));
    }

    function point(event) {
      const row = event.target.closest("tr[data-member]");
      mark(row && row.dataset.member);
    }

    // All dots of a piece with its name, and its row.
    function mark(member) {
      for (const each of document.querySelectorAll("a.dot, #pieces tr")) {
        each.classList.toggle("on", member !== null && each.dataset.member === member);
      }
    }

    function dots() {
      const overview = document.getElementById("overview");
      const reading = document.getElementById("reading");
      if (!reading) return;
      for (const line of overview.querySelectorAll(".among")) {
        for (const dot of line.querySelectorAll("a.dot")) {
          dot.onkeydown = (event) => {
            const all = [...line.querySelectorAll("a.dot:not(.off)")];
            const here = all.indexOf(dot);
            const to = { ArrowRight: here + 1, ArrowLeft: here - 1, Home: 0, End: all.length - 1 }[event.key];
            if (to === undefined) return;
            event.preventDefault();
            const next = all[to];
            if (!next) return;
            dot.tabIndex = -1;
            next.tabIndex = 0;
            next.focus();
          };
          dot.onpointerenter = dot.onfocus = () => mark(dot.dataset.member);
          dot.onpointerleave = dot.onblur = () => mark(chosen());
          dot.onclick = (event) => {
            event.preventDefault();
            read(dot);
          };
        }
      }
      const all = [...overview.querySelectorAll(`a.dot[data-member="${kept.chosen}"]`)];
      const again = all.find((dot) => dot.closest(".among").querySelector("h3").textContent === kept.line) || all[0];
      if (again) read(again);

      function chosen() {
        const now = JSON.parse(sessionStorage.getItem(key) || "{}").chosen;
        return now === undefined ? null : now;
      }

      function read(dot) {
        const line = dot.closest(".among");
        keep({ chosen: dot.dataset.member, line: line.querySelector("h3").textContent });
        line.after(reading);
        mark(dot.dataset.member);
        const title = document.createElement("p");
        const link = document.createElement("a");
        link.href = dot.getAttribute("href");
        link.textContent = `Open ${dot.dataset.name}`;
        title.append(link);
        const list = document.createElement("ul");
        for (const each of overview.querySelectorAll(`a.dot[data-member="${dot.dataset.member}"]`)) {
          const line = document.createElement("li");
          line.textContent = each.dataset.said;
          list.append(line);
        }
        reading.replaceChildren(title, list);
      }
    }
  }

  // What is asked on the page leaves it as it is: what was typed stays, also after an error.
  async function asking(event) {
    const form = event.target;
    const trouble = form.querySelector(".trouble");
    if (!trouble) return;
    event.preventDefault();
    if (form.classList.contains("busy")) return;
    form.classList.add("busy");
    try {
      const answer = await fetch(form.action, {
        method: "POST", body: new FormData(form), headers: { Accept: "text/plain" },
      });
      const text = await answer.text();
      if (answer.ok) {
        renew(new DOMParser().parseFromString(text, "text/html"));
        // What was pressed may be gone: the next key goes on from the form it stood in.
        const asked = document.querySelector(`${new URL(form.action).hash || "#none"} > summary`);
        if (asked && document.activeElement === document.body) asked.focus();
        following();
      } else {
        say(trouble, text);
      }
    } catch {
      say(trouble, gone);
    }
    form.classList.remove("busy");
  }

  function say(where, line) {
    const words = document.createElement("p");
    words.className = "caution";
    words.setAttribute("role", "alert");
    words.textContent = line;
    where.replaceChildren(words);
  }

  // While something is under way, what is new is taken over; the report stays as it is.
  async function following() {
    for (;;) {
      const here = document.getElementById("live");
      if (!here || !("poll" in here.dataset)) return;
      await new Promise((done) => setTimeout(done, EVERY));
      let page;
      try {
        page = new DOMParser().parseFromString(await (await fetch(location.href)).text(), "text/html");
      } catch {
        const news = here.querySelector("[role=status]");
        if (news) news.textContent = gone;
        return;
      }
      const there = page.getElementById("live");
      if (!there || !there.querySelector("[role=status]")) {
        location.reload();
        return;
      }
      renew(page);
    }
  }

  // The page as it is now, but for what is being read or filled in.
  function renew(page) {
    const [here, there] = [document, page].map((each) => each.getElementById("live"));
    if ("poll" in there.dataset) here.dataset.poll = "";
    take(here, there);
    const forms = ["compare", "names", "draft", "contrast", "revise", "handouts", "correct", "assign", "beside"].map((each) => `trouble-${each}`);
    const parts = ["name", "count", "pieces", "medium", "device", "overview", "made", "events", "task-bar", "report"];
    for (const id of [...parts, "which-draft", "which-contrast", "which-revise", ...forms]) {
      const old = document.getElementById(id);
      const fresh = page.getElementById(id);
      const [was, is] = [old, fresh].map((each) => each && each.querySelector("iframe"));
      // A report that is being read stays, until there is another page to look at.
      if (!old || !fresh || (was && is && was.getAttribute("src") === is.getAttribute("src"))) continue;
      if (old.innerHTML === fresh.innerHTML) continue;
      const chosen = [...old.querySelectorAll("select")].map((each) => [each.id, each.value]);
      old.innerHTML = fresh.innerHTML;
      // A piece that was chosen stays chosen; what was said of an event has been done.
      if (id !== "events") chosen.forEach(([name, value]) => { document.getElementById(name).value = value; });
    }
    // What can be asked of a piece is known when it is read.
    const [asks, read] = [document, page].map((each) => each.getElementById("asks"));
    if (asks && read && "waiting" in asks.dataset && !("waiting" in read.dataset)) asks.replaceWith(read);
    document.title = page.title;
    needing();
    classing();
  }

  // Only what differs is replaced: a status line that stays is announced, focus stays too.
  function take(here, there) {
    if (!("poll" in there.dataset)) delete here.dataset.poll;
    const focused = document.activeElement;
    for (const part of ["[role=status]", ".more"]) {
      const [old, fresh] = [here, there].map((each) => each.querySelector(part));
      if (old.innerHTML !== fresh.innerHTML) old.innerHTML = fresh.innerHTML;
    }
    if (focused.href && !focused.isConnected) {
      const again = [...here.querySelectorAll("a")].find((each) => each.href === focused.href);
      if (again) again.focus();
    }
  }
})();
