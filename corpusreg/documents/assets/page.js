/* The map answers pointer and keys, places jump to it, and passages can be heard.
   Works from disk, asks nothing of the network. Without it the page reads the same. */
(function () {
  "use strict";

  const AHEAD = 0.6; // seconds of sound that are prepared
  const EVERY = 150; // milliseconds between preparations
  const LEAD = 0.08; // seconds before the first note
  const HALF = 0.7; // seconds in which a struck sound falls to about a third

  const NS = "http://www.w3.org/2000/svg";

  document.documentElement.classList.add("live");
  document.querySelectorAll("[data-work]").forEach(openWork);

  function openWork(work) {
    const map = work.querySelector(".map");
    const readout = work.querySelector(".readout");
    // The piece; further sounds are other versions of it, with the same bars.
    const sounds = [...work.querySelectorAll("script.sound")].map((each) => JSON.parse(each.textContent));
    const sound = sounds[0];
    const count = sound.bars.length - 1;
    const infos = barsOf(map);
    let chosen = [0, 1];
    let cursor = -1;

    const zoom = work.querySelector(".zoom");
    const close = zoom && makeZoom(zoom, sound, infos, (bar) => move(bar));

    const players = sounds.map((each) => makePlayer(each, {
      bar: (bar) => {
        mark(map, "sounding", bar, bar + 1);
        lightNotes(work, infos.get(bar));
        if (close) close.show(bar);
      },
      at: (bar, share) => {
        playhead(map, bar, share);
        if (close) close.head(bar, share);
      },
      state: (playing) => {
        work.classList.toggle("playing", playing);
        work.querySelectorAll("button.stop").forEach((b) => (b.disabled = !playing));
        if (playing) return;
        mark(map, "sounding", 0, 0);
        lightNotes(work, null);
        work.querySelectorAll("line.head").forEach((each) => each.remove());
      },
    }));

    function stop() {
      players.forEach((each) => each.stop());
    }

    function play(first, last, version) {
      stop();
      players[Number(version || 0)].play(first, last);
    }

    function choose(first, last, words) {
      chosen = [first, last];
      mark(map, "chosen", first, last);
      work.querySelectorAll("button.hear-chosen").forEach((hear) => {
        hear.textContent = "Hear " + words + (hear.dataset.how ? ", " + hear.dataset.how : "");
        hear.disabled = false;
      });
    }

    function say(bar) {
      const info = infos.get(bar);
      if (info) readout.textContent = told(info, sound.stays);
    }

    function move(bar) {
      cursor = Math.min(Math.max(bar, 0), count - 1);
      mark(map, "cursor", cursor, cursor + 1);
      choose(cursor, cursor + 1, "bar " + infos.get(cursor).bar);
      say(cursor);
      if (close) close.show(cursor);
      const hear = work.querySelector("button.hear-stay");
      if (!hear) return;
      const stay = sound.stays[Number(infos.get(cursor).stay) - 1];
      hear.disabled = !stay;
      if (stay) [hear.dataset.first, hear.dataset.last] = stay;
    }

    map.addEventListener("pointerover", (event) => {
      const bar = event.target.closest(".bar");
      if (!bar) return;
      mark(map, "pointed", Number(bar.dataset.index), Number(bar.dataset.index) + 1);
      say(Number(bar.dataset.index));
    });
    map.addEventListener("pointerleave", () => {
      mark(map, "pointed", 0, 0);
      if (cursor >= 0) say(cursor);
    });
    map.addEventListener("click", (event) => {
      const bar = event.target.closest(".bar");
      if (bar) move(Number(bar.dataset.index));
    });
    map.addEventListener("focus", () => {
      if (cursor < 0) move(chosen[0]);
    });
    map.addEventListener("keydown", (event) => {
      const steps = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -4, ArrowDown: 4 };
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      if (event.key in steps) move(cursor + steps[event.key]);
      else if (event.key === "Home") move(0);
      else if (event.key === "End") move(count - 1);
      else if (event.key === "Enter" || event.key === " ") play(chosen[0], chosen[1]);
      else if (event.key === "Escape") stop();
      else return;
      event.preventDefault();
      bring(map, cursor);
    });

    work.addEventListener("click", (event) => {
      const place = event.target.closest("a.place");
      const button = event.target.closest("button");
      if (place) {
        const first = Number(place.dataset.first);
        move(first);
        choose(first, Number(place.dataset.last), place.dataset.words);
        light(map, place.dataset.mark);
        // The link itself goes to the map; the bar may lie further down in it.
        requestAnimationFrame(() => bring(map, first));
        map.focus({ preventScroll: true });
      } else if (button && button.classList.contains("stop")) stop();
      else if (button && button.classList.contains("hear-chosen")) {
        play(chosen[0], chosen[1], button.dataset.version);
      } else if (button && button.dataset.first) {
        mark(map, "chosen", Number(button.dataset.first), Number(button.dataset.last));
        play(Number(button.dataset.first), Number(button.dataset.last), button.dataset.version);
      }
    });
    work.querySelectorAll("button.stop").forEach((b) => (b.disabled = true));

    // Point at a strip or a dot, or touch it, and it says which work lies there.
    work.querySelectorAll(".answers").forEach((area) => {
      const told = area.querySelector(".told");
      if (told) area.querySelectorAll("svg").forEach((svg) => answering(svg, told));
    });
  }

  /* Signs, dots and parts of a strip say what they are, to a pointer and to arrow keys. */
  function answering(svg, told) {
    const named = svg.querySelector("[data-dots]");
    const dots = named ? named.dataset.dots.split("|").map((each) => {
      const [, x, y, name] = each.match(/^(\d+),(\d+),(.*)$/);
      return { x: Number(x), y: Number(y), told: name };
    }).sort((one, other) => one.x - other.x) : [];
    const every = [...svg.querySelectorAll("[data-told]"), ...dots];
    let at = -1;

    function tell(one) {
      svg.querySelectorAll(".lit, .ring").forEach((each) => {
        each.classList.remove("lit");
        if (each.matches(".ring")) each.remove();
      });
      if (one.told) draw(svg, "circle", { class: "ring", cx: one.x, cy: one.y, r: 4 });
      else one.classList.add("lit");
      told.textContent = (one.told || one.dataset.told) + ".";
      told.classList.add("telling");
      at = every.indexOf(one);
    }

    ["pointermove", "click"].forEach((kind) => svg.addEventListener(kind, (event) => {
      const sign = event.target.closest("[data-told]");
      const frame = svg.getBoundingClientRect();
      const scale = svg.viewBox.baseVal.width / frame.width;
      const away = (dot) => Math.hypot(dot.x - (event.clientX - frame.left) * scale,
        dot.y - (event.clientY - frame.top) * scale);
      const near = sign || dots.reduce((best, each) => (away(each) < away(best) ? each : best), dots[0]);
      if (near && (sign || away(near) < 8)) tell(near);
    }));
    if (!every.length) return;
    svg.setAttribute("tabindex", "0");
    svg.addEventListener("focus", () => tell(every[Math.max(at, 0)]));
    svg.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -1, ArrowUp: -1, ArrowRight: 1, ArrowDown: 1 }[event.key];
      if (!step || event.ctrlKey || event.metaKey || event.altKey) return;
      tell(every[(at + step + every.length) % every.length]);
      event.preventDefault();
    });
  }

  function draw(into, name, attributes, text) {
    const made = document.createElementNS(NS, name);
    Object.entries(attributes).forEach(([key, value]) => made.setAttribute(key, value));
    if (text) made.textContent = text;
    return into.appendChild(made);
  }

  /* A line where the music is, over the visible picture of a bar. share: of the bar. */
  function playhead(map, bar, share) {
    map.querySelectorAll('.bar[data-index="' + bar + '"]').forEach((box) => {
      const svg = box.ownerSVGElement;
      const head = svg.querySelector("line.head") || draw(svg, "line", { class: "head" });
      const at = (name) => Number(box.getAttribute(name));
      const x = at("x") + share * at("width");
      [["x1", x], ["x2", x], ["y1", at("y")], ["y2", at("y") + at("height")]]
        .forEach(([key, value]) => head.setAttribute(key, value));
    });
  }

  /* The bar that sounds, in notation of this piece. */
  function lightNotes(work, info) {
    const label = info && info.bar.split(" (")[0];
    work.querySelectorAll(".own g.measure").forEach((each) => {
      each.classList.toggle("sounding", Boolean(label) && each.dataset.bar === label);
    });
  }

  /* The bars around one, larger than on the map: drawn from the notes that are played. */
  function makeZoom(box, sound, infos, pick) {
    const [BARS, WIDTH, HEIGHT, LEFT, FOOT] = [16, 720, 260, 36, 20];
    const count = sound.bars.length - 1;
    const low = Math.min(...sound.pitches) - 1;
    const step = (HEIGHT - FOOT) / (Math.max(...sound.pitches) - low + 2);
    const svg = draw(box, "svg", { class: "picture", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img" });
    let first = -1;
    let wide = 1;
    const x = (bar, share) => LEFT + (bar - first + share) * wide;
    const y = (pitch) => HEIGHT - FOOT - (pitch - low) * step;

    function show(bar) {
      const from = Math.min(Math.max(bar - BARS / 4, 0), Math.max(count - BARS, 0));
      if (first >= 0 && bar >= first && bar < Math.min(first + BARS, count)) return;
      first = Math.floor(from);
      const last = Math.min(first + BARS, count);
      wide = (WIDTH - LEFT) / (last - first);
      svg.replaceChildren();
      box.hidden = false;
      const label = "The bars from " + infos.get(first).bar + " to " + infos.get(last - 1).bar;
      svg.setAttribute("aria-label", label);
      for (let c = Math.ceil(low / 12) * 12; y(c) > 0; c += 12) {
        draw(svg, "line", { class: "line", x1: LEFT, x2: WIDTH, y1: y(c), y2: y(c), "stroke-dasharray": "5 3" });
        draw(svg, "text", { class: "quiet", x: 4, y: y(c) + 4, "font-size": 11 }, "C" + (c / 12 - 1));
      }
      const [begins, ends] = [sound.bars[first], sound.bars[last]];
      let onset = 0;
      sound.steps.forEach((each, note) => {
        onset += each;
        const end = onset + sound.lasts[note];
        if (end <= begins || onset >= ends) return;
        const at = (time) => {
          const inside = Math.min(Math.max(time, begins), ends);
          const b = barAt(sound.bars, inside, last);
          return x(b, (inside - sound.bars[b]) / Math.max(sound.bars[b + 1] - sound.bars[b], 1));
        };
        const level = 1 + Math.min(3, Math.floor(sound.loud[note] / 25));
        const [a, z] = [at(onset), at(end)];
        draw(svg, "rect", {
          class: "weight" + level, x: a, width: Math.max(z - a - 0.8, 1),
          y: y(sound.pitches[note] + 0.5), height: Math.max(step - 0.6, 1),
        });
      });
      for (let b = first; b < last; b += 1) {
        draw(svg, "line", { class: "faint", x1: x(b, 0), x2: x(b, 0), y1: 0, y2: HEIGHT - FOOT });
        draw(svg, "text", { x: x(b, 0) + 2, y: HEIGHT - 6, "font-size": 11, class: "quiet" }, infos.get(b).bar.split(" (")[0]);
        const target = draw(svg, "rect", { x: x(b, 0), y: 0, width: wide, height: HEIGHT, fill: "none", "pointer-events": "all" });
        target.addEventListener("click", () => pick(b));
      }
    }

    function head(bar, share) {
      if (bar < first || bar >= first + BARS) return;
      const line = svg.querySelector("line.head") || draw(svg, "line", { class: "head", y1: 0, y2: HEIGHT - FOOT });
      line.setAttribute("x1", x(bar, share));
      line.setAttribute("x2", x(bar, share));
    }

    show(0);
    return { show, head };
  }

  /* What a script needs to know of each bar, by its place among the played bars. */
  function barsOf(map) {
    const found = new Map();
    map.querySelectorAll(".bar").forEach((bar) => {
      if (!found.has(Number(bar.dataset.index))) found.set(Number(bar.dataset.index), bar.dataset);
    });
    return found;
  }

  function told(info, stays) {
    const notes = info.notes ? info.notes.replace(/([A-G])b/g, "$1♭").replace(/#/g, "♯").split(" ").join(", ") : "silence";
    const stay = stays[Number(info.stay) - 1];
    return "Bar " + info.bar + ": " + notes + "." + (stay ? " In one register: " + stay[2] + "." : "");
  }

  function mark(map, name, first, last) {
    map.querySelectorAll(".bar").forEach((bar) => {
      const index = Number(bar.dataset.index);
      bar.classList.toggle(name, index >= first && index < last);
    });
  }

  /* A stay, a shift or an event of which the text speaks. */
  function light(map, name) {
    map.querySelectorAll(".lit").forEach((each) => each.classList.remove("lit"));
    if (!name) return;
    const [kind, number] = name.split("-");
    map.querySelectorAll("[data-" + kind + '="' + number + '"]').forEach((each) => {
      if (!each.classList.contains("bar")) each.classList.add("lit");
    });
  }

  function bring(map, bar) {
    const seen = [...map.querySelectorAll('.bar[data-index="' + bar + '"]')].find(
      (each) => each.getBoundingClientRect().width > 0
    );
    if (seen) seen.scrollIntoView({ block: "nearest", inline: "nearest" });
  }

  /* Plays played bars first to last (half-open). */
  function makePlayer(sound, tell) {
    let context = null;
    let timer = 0;
    let frame = 0;
    let out = null;

    function stop() {
      if (!timer) return;
      clearInterval(timer);
      cancelAnimationFrame(frame);
      timer = 0;
      const old = out;
      old.gain.setTargetAtTime(0, context.currentTime, 0.03);
      setTimeout(() => old.disconnect(), 300);
      tell.state(false);
    }

    function play(first, last) {
      stop();
      context = context || new AudioContext();
      context.resume();
      out = makeOutput(context);
      const from = sound.bars[first];
      const until = sound.bars[last];
      const zero = context.currentTime + LEAD - from / 1000;
      let next = 0;
      let onset = sound.steps[0] || 0;
      let bar = -1;
      function prepare() {
        const now = context.currentTime;
        while (next < sound.steps.length && onset < until && onset / 1000 + zero < now + AHEAD) {
          // What began before the passage and still sounds is heard from its beginning on.
          const begins = Math.max(onset, from);
          const lasts = Math.min(onset + sound.lasts[next], until) - begins;
          if (lasts > 0) tone(context, out, sound, next, zero + begins / 1000, lasts / 1000);
          next += 1;
          onset += sound.steps[next] || 0;
        }
        const at = (now - zero) * 1000;
        const here = barAt(sound.bars, Math.max(at, from), last);
        if (here !== bar) tell.bar((bar = here));
        if (at > until + 400) stop();
      }
      function follow() {
        const at = Math.max((context.currentTime - zero) * 1000, from);
        if (at < until && bar >= 0) {
          const here = barAt(sound.bars, at, last);
          tell.at(here, (at - sound.bars[here]) / Math.max(sound.bars[here + 1] - sound.bars[here], 1));
        }
        frame = requestAnimationFrame(follow);
      }
      tell.state(true);
      timer = setInterval(prepare, EVERY);
      prepare();
      follow();
    }

    return { play, stop };
  }

  function makeOutput(context) {
    const gain = context.createGain();
    const limit = context.createDynamicsCompressor();
    gain.gain.value = 0.5;
    gain.connect(limit).connect(context.destination);
    return gain;
  }

  function barAt(bars, at, last) {
    let bar = 0;
    while (bar < last - 1 && bars[bar + 1] <= at) bar += 1;
    return bar;
  }

  /* One note: a triangle for its body and a sine an octave above, softened with height. */
  function tone(context, out, sound, note, when, lasts) {
    const pitch = sound.pitches[note];
    const gain = context.createGain();
    const level = (0.06 + 0.18 * (sound.loud[note] / 100)) * Math.min(1, 1.4 - pitch / 160);
    const end = when + Math.max(lasts, 0.06);
    gain.gain.setValueAtTime(0, when);
    gain.gain.linearRampToValueAtTime(level, when + (sound.fades[note] ? 0.006 : 0.04));
    if (sound.fades[note]) gain.gain.setTargetAtTime(0, when + 0.01, HALF);
    gain.gain.setTargetAtTime(0, end, 0.05);
    gain.connect(out);
    [["triangle", 1, 1], ["sine", 2, 0.25]].forEach(([shape, times, part]) => {
      const voice = context.createOscillator();
      const share = context.createGain();
      voice.type = shape;
      voice.frequency.value = 440 * Math.pow(2, (pitch - 69) / 12) * times;
      share.gain.value = part;
      voice.connect(share).connect(gain);
      voice.start(when);
      voice.stop(end + 0.4);
    });
  }
})();
