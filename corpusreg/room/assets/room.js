"use strict";
// Dropping and choosing scores, what is asked of them, and the news of what is under way. Without this script the
// page does the same by its buttons.
(() => {
  const gone = "No answer: was the room closed? Start it again, and repeat.";
  document.documentElement.classList.add("live");
  const form = document.getElementById("give");
  if (form) giving(form);
  following();
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
    const link = event.target.closest("a[target=report]");
    if (!link) return;
    for (const each of document.querySelectorAll("a[target=report]")) {
      each.toggleAttribute("aria-current", each === link);
    }
    link.setAttribute("aria-current", "true");
    document.querySelector("a.alone").href = link.href;
    document.querySelector("a.save").href = `${link.href}?save`;
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
      await new Promise((done) => setTimeout(done, 200));
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
    const parts = ["compare", "draft", "contrast", "revise", "handouts"].map((each) => `trouble-${each}`);
    for (const id of ["name", "report", "which-draft", "which-contrast", "which-revise", ...parts]) {
      const old = document.getElementById(id);
      const fresh = page.getElementById(id);
      const [was, is] = [old, fresh].map((each) => each && each.querySelector("iframe"));
      // A report that is being read stays, until there is another page to look at.
      if (!old || !fresh || (was && is && was.getAttribute("src") === is.getAttribute("src"))) continue;
      if (old.innerHTML === fresh.innerHTML) continue;
      const chosen = [...old.querySelectorAll("select")].map((each) => each.value);
      old.innerHTML = fresh.innerHTML;
      // A piece that was chosen stays chosen.
      old.querySelectorAll("select").forEach((each, place) => { each.value = chosen[place]; });
    }
    document.title = page.title;
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
