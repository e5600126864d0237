// Plays the exercises of a lesson's page, with sounds made by Web Audio.
//
// What sounds, and when, is in the page; nothing is added here. Places are quarter notes from an
// exercise's first downbeat, the count-in before 0; its clock tells for some of them the seconds
// from there at its first tempo, and between two of them time goes evenly. Times are seconds of
// the audio clock. window.lessonPlayer shows what goes on.
(() => {
  "use strict";

  // ---- Sounds ----
  //
  // A sound is a list of layers. A layer is a source (`wave`: an oscillator's, or "noise" or
  // "metal") at `f` Hz (metal: times its pitch) which glides `to` another within `glide` s, maybe
  // through a filter (`pass`, `cut` Hz `cutTo` Hz, `q`), with a level `g` that rises in `rise` s,
  // is held for `hold` s and falls by 60 dB in `d` s; `n` times, one `every` so many s, each
  // `step` times as high. `snap`: how much more than the rest it grows with velocity.
  const tone = (f, d, g, more) => ({ wave: "sine", f, d, g, ...more });
  const hiss = (pass, cut, d, g, more) => ({ wave: "noise", pass, cut, d, g, ...more });
  const metal = (cut, d, g, more) => ({ wave: "metal", pass: "highpass", cut, d, g, ...more });

  const skin = (f, d, bend = 1.5) => [
    tone(f * bend, d, 0.6, { to: f, glide: 0.07 }),
    hiss("lowpass", f * 14, 0.04, 0.25, { snap: 0.5 }),
  ];
  const bass = (f) => [
    tone(f * 3, 0.38, 0.8, { to: f, glide: 0.05 }),
    hiss("lowpass", 1800, 0.025, 0.3, { snap: 1 }),
  ];
  const snare = (f, d) => [
    tone(f * 1.3, 0.14, 0.35, { wave: "triangle", to: f, glide: 0.03 }),
    hiss("bandpass", 3800, d, 0.5, { q: 0.6, snap: 0.5 }),
  ];
  const stick = (f) => [
    tone(f, 0.05, 0.45, { wave: "triangle" }),
    hiss("bandpass", f * 2.5, 0.03, 0.5, { q: 2 }),
  ];
  const wood = (f, d) => [tone(f, d, 0.6), hiss("bandpass", f * 2, 0.015, 0.3, { q: 2 })];
  const bell = (f, d, ...ratios) =>
    [1, ...ratios].map((ratio, i) => tone(f * ratio, d / (1 + i / 2), 0.4 / (1 + i)));
  const ride = (pitch) => [
    metal(5200, 1.5, 0.45, { f: pitch }),
    tone(3100 * pitch, 0.08, 0.2, { wave: "triangle" }),
    metal(3000, 0.09, 0.8, { f: pitch, snap: 0.5 }),
  ];
  const crash = (pitch, d, cut) => [
    metal(cut, d, 0.45, { f: pitch, rise: 0.004 }),
    hiss("highpass", cut * 1.4, d * 0.6, 0.25, { snap: 0.5 }),
  ];
  const timbale = (f) => [
    tone(f * 1.1, 0.35, 0.4, { wave: "triangle", to: f, glide: 0.02 }),
    tone(f * 2.3, 0.2, 0.2),
    hiss("bandpass", 4000, 0.05, 0.4, { snap: 0.5 }),
  ];
  const seeds = (cut, d, rise) => [hiss("bandpass", cut, d, 0.8, { q: 1, rise })];
  const rasp = (n, every) => [hiss("bandpass", 3200, 0.03, 1.1, { q: 2.5, n, every })];
  const whistle = (hold) => [
    tone(2350, 0.05, 0.25, { rise: 0.01, hold, wave: "triangle" }),
    tone(2381, 0.05, 0.25, { rise: 0.01, hold }),
  ];
  const rub = (f, to, d) => [tone(f, d, 0.45, { wave: "triangle", to, glide: 0.12, rise: 0.02 })];
  const scratch = (cut, cutTo) => [hiss("bandpass", cut, 0.14, 1.2, { q: 3, cutTo, rise: 0.01 })];

  // The numbers of General MIDI level 1 are 35 to 81; the rest are those of level 2.
  const SOUNDS = {
    27: [tone(1700, 0.09, 0.5, { to: 240, glide: 0.05 })],
    28: [hiss("bandpass", 1100, 0.09, 1.4, { q: 1 })],
    29: scratch(900, 3600),
    30: scratch(3600, 900),
    31: stick(2300),
    32: [tone(1300, 0.03, 0.3, { wave: "square" })],
    33: wood(1350, 0.05),
    34: bell(2030, 0.16, 1.5),
    35: bass(46),
    36: bass(54),
    37: stick(840),
    38: snare(185, 0.24),
    39: [hiss("bandpass", 1250, 0.16, 1.4, { q: 1.2, n: 4, every: 0.011 })],
    40: [...snare(235, 0.2), tone(520, 0.07, 0.1, { wave: "triangle" })],
    41: skin(76, 0.65),
    42: [metal(6800, 0.09, 1.1), hiss("highpass", 8500, 0.05, 0.3, { snap: 0.5 })],
    43: skin(92, 0.6),
    44: [metal(5200, 0.1, 1.1, { rise: 0.004 }), hiss("bandpass", 900, 0.03, 0.3)],
    45: skin(112, 0.52),
    46: [metal(6200, 1.1, 0.8), hiss("highpass", 8000, 0.5, 0.18, { snap: 0.5 })],
    47: skin(136, 0.46),
    48: skin(164, 0.4),
    49: crash(0.9, 2, 2600),
    50: skin(198, 0.36),
    51: ride(1),
    52: [
      metal(1500, 1.2, 0.4, { f: 0.62, rise: 0.006 }),
      hiss("bandpass", 3400, 0.7, 0.45, { q: 0.8 }),
    ],
    53: [tone(1080, 1.1, 0.22), tone(1640, 0.8, 0.14), tone(2930, 0.5, 0.12), metal(5200, 0.8, 0.4)],
    54: [metal(7200, 0.2, 1.3, { f: 1.3, n: 2, every: 0.03 })],
    55: crash(1.4, 0.75, 4400),
    56: [
      tone(555, 0.32, 0.2, { wave: "square", pass: "bandpass", cut: 900, q: 0.7 }),
      tone(832, 0.26, 0.25, { wave: "square", pass: "bandpass", cut: 1300, q: 0.7 }),
    ],
    57: crash(1.08, 1.7, 3200),
    58: [hiss("bandpass", 2300, 0.05, 1.8, { q: 4, n: 22, every: 0.024, fade: 0.88 })],
    59: ride(1.17),
    60: skin(430, 0.14, 1.1),
    61: skin(310, 0.18, 1.1),
    62: skin(340, 0.08, 1.05),
    63: skin(265, 0.34, 1.08),
    64: skin(190, 0.4, 1.08),
    65: timbale(330),
    66: timbale(240),
    67: bell(1240, 0.4, 1.52, 2.6),
    68: bell(905, 0.45, 1.52, 2.6),
    69: seeds(6000, 0.08, 0.012),
    70: seeds(8200, 0.05, 0.004),
    71: whistle(0.1),
    72: whistle(0.38),
    73: rasp(7, 0.012),
    74: rasp(24, 0.016),
    75: wood(2500, 0.1),
    76: wood(1060, 0.1),
    77: wood(730, 0.12),
    78: rub(560, 420, 0.12),
    79: rub(330, 590, 0.3),
    80: bell(4900, 0.12, 1.37, 1.9),
    81: bell(4900, 1.6, 1.37, 1.9),
    82: seeds(7000, 0.07, 0.03),
    83: [metal(8000, 0.16, 1.4, { f: 1.5, n: 4, every: 0.035, fade: 0.85 })],
    84: [tone(1900, 0.6, 0.35, { n: 16, every: 0.055, step: 1.06, fade: 0.95 })],
    85: [hiss("bandpass", 1900, 0.03, 0.9, { q: 5, n: 2, every: 0.028 }), ...wood(1500, 0.05)],
    86: skin(68, 0.2, 1.2),
    87: skin(68, 0.75, 1.2),
  };
  const OTHER = [hiss("bandpass", 1500, 0.1, 0.9, { q: 2 })];

  // Of each set only one sounds at a time: what comes later ends what came before.
  const CHOKES = {};
  [[42, 44, 46], [29, 30], [71, 72], [73, 74], [78, 79], [80, 81], [86, 87]].forEach((set, i) => {
    for (const note of set) CHOKES[note] = i + 1;
  });

  const SILENCE = 0.001; // -60 dB
  const buffers = new Map();

  // One second each of noise and of a plate's many partials, which closes as a loop because every
  // partial is a whole number of Hz.
  function buffersOf(context) {
    const rate = context.sampleRate;
    if (!buffers.has(rate)) {
      let seed = 1;
      const random = () => (seed = (seed * 16807) % 2147483647) / 2147483647;
      const filled = (values) => {
        const buffer = context.createBuffer(1, values.length, rate);
        buffer.copyToChannel(values, 0);
        return buffer;
      };
      const noise = Float32Array.from({ length: rate }, () => 2 * random() - 1);
      const plate = new Float32Array(rate);
      for (let partial = 0; partial < 36; partial++) {
        const turn = (2 * Math.PI * Math.round(420 * 28 ** ((partial + random()) / 36))) / rate;
        const phase = 7 * random();
        for (let i = 0; i < rate; i++) plate[i] += Math.sin(turn * i + phase);
      }
      const peak = plate.reduce((most, value) => Math.max(most, Math.abs(value)), 0);
      buffers.set(rate, { noise: filled(noise), metal: filled(plate.map((x) => x / peak)) });
    }
    return buffers.get(rate);
  }

  function glide(param, from, to, time, seconds) {
    param.setValueAtTime(from, time);
    if (to) param.exponentialRampToValueAtTime(to, time + seconds);
  }

  // Plays a note of General MIDI's percussion at a time. Gives its output and how to end it.
  function sound(context, destination, time, note, velocity) {
    const force = velocity / 127;
    const out = context.createGain();
    out.connect(destination);
    const sources = (SOUNDS[note] || OTHER).map((layer) => {
      const { wave, f = 1, to, d, rise = 0.001, hold = 0, n = 1, every = 0, fade = 1 } = layer;
      const buffer = buffersOf(context)[wave];
      const source = buffer ? context.createBufferSource() : context.createOscillator();
      const pitch = buffer ? source.playbackRate : source.frequency;
      const level = context.createGain();
      glide(pitch, f, to, time, layer.glide);
      let tail = source;
      if (layer.pass) {
        tail = context.createBiquadFilter();
        tail.type = layer.pass;
        tail.Q.value = layer.q || 0.7;
        glide(tail.frequency, layer.cut, layer.cutTo, time, d);
        source.connect(tail);
      }
      tail.connect(level).connect(out);
      let peak = layer.g * force ** (1.5 + (layer.snap || 0));
      let end = time;
      level.gain.setValueAtTime(0, time);
      for (let i = 0; i < n; i++, peak *= fade) {
        const start = time + i * every;
        if (i && layer.step) pitch.setValueAtTime(f * layer.step ** i, start);
        end = i < n - 1 ? start + every : start + rise + hold + d;
        level.gain.linearRampToValueAtTime(peak, start + rise);
        level.gain.setValueAtTime(peak, start + rise + hold);
        level.gain.exponentialRampToValueAtTime(
          i < n - 1 ? peak * Math.max(SILENCE, SILENCE ** (every / d)) : peak * SILENCE,
          end,
        );
      }
      if (buffer) {
        source.buffer = buffer;
        source.loop = true;
        source.start(time, Math.random());
      } else {
        source.type = wave;
        source.start(time);
      }
      source.stop(end);
      return { source, end };
    });
    return {
      out,
      end: Math.max(...sources.map((each) => each.end)),
      stop: (at) => sources.forEach((each) => each.source.stop(at)),
    };
  }

  // What everything goes through, so that no sum of sounds is louder than the volume allows: a
  // compressor, a curve that nothing gets past, and the volume.
  const LOUDEST = 0.8;

  function outputOf(context) {
    const input = context.createDynamicsCompressor();
    const ceiling = context.createWaveShaper();
    const volume = context.createGain();
    input.threshold.value = -14;
    input.knee.value = 12;
    input.ratio.value = 8;
    input.attack.value = 0.002;
    input.release.value = 0.12;
    ceiling.curve = Float32Array.from({ length: 1025 }, (_, i) => Math.tanh((i - 512) / 384));
    input.connect(ceiling).connect(volume).connect(context.destination);
    return { input, volume };
  }

  // ---- Time ----

  const EVERY_MS = 25; // between two looks ahead
  const AHEAD = 0.35; // s; how far notes are scheduled
  const AHEAD_HIDDEN = 4; // browsers look after timers of hidden pages once a second
  const LEAD = 0.1; // s from the click to the first sound
  const MARGIN = 0.02; // s; what is due sooner is not changed any more
  const LATE = 0.05; // s; what is later than that is left out
  const REMEMBERED = 4000;
  const REST_MS = 5000; // of silence, before the audio clock is halted
  const PARTS = { hands: "Hands", feet: "Feet", beside: "Beside you", click: "Click" };
  const CLICKS = { click: true, "count-in": true };

  const settings = { loop: true, countIn: true, volume: 50 };
  for (const part in PARTS) settings[part] = true;
  let context = null;
  let output = null;
  let gains = null;
  let run = null; // what plays now
  let scheduled = [];
  let resting = 0;

  // What sounds, by place, in the times round (counted from 0) `from` to `to`; how often is told by
  // a number: 0 the first time only, 1 from the second on, 2 every time.
  function eventsOf({ notes, tones = [] }) {
    const rounds = (when) => ({ from: when === 1 ? 1 : 0, to: when === 0 ? 0 : Infinity });
    return [
      ...notes.map(([at, offset, note, velocity, part, when]) => ({
        kind: part in CLICKS ? "click" : "note", at, offset: offset / 1000, note, velocity,
        part: part in PARTS || part in CLICKS ? part : "beside", ...rounds(when),
      })),
      ...tones.map(([at, lasts, note, velocity, voice, when]) => ({
        kind: "tone", at, lasts, offset: 0, note, velocity, voice, part: "beside", ...rounds(when),
      })),
    ].sort((a, b) => a.at - b.at);
  }

  // Between two columns of a table: what the second says where the first says `value`.
  function between(table, value, from, to) {
    let i = 1;
    while (i < table.length - 1 && table[i][from] <= value) i++;
    const [before, after] = [table[i - 1], table[i]];
    const share = (value - before[from]) / (after[from] - before[from]);
    return before[to] + share * (after[to] - before[to]);
  }

  // An exercise's clock, round after round: seconds by place and places by seconds.
  function clockOf({ clock, entry, length }) {
    const start = between(clock, entry, 0, 1);
    const lasts = between(clock, entry + length, 0, 1) - start;
    const round = (value, begin, size) => Math.max(0, Math.floor((value - begin) / size));
    return {
      seconds(at) {
        const times = round(at, entry, length);
        return between(clock, at - times * length, 0, 1) + times * lasts;
      },
      place(seconds) {
        const times = round(seconds, start, lasts);
        return between(clock, seconds - times * lasts, 1, 0) + times * length;
      },
    };
  }

  // The audio time of a place, and the place at an audio time.
  function timeOf(at) {
    const { time, at: from, slower } = run.pace;
    return time + (run.clock.seconds(at) - run.clock.seconds(from)) * slower;
  }

  function placeAt(time) {
    const pace = time < run.pace.time && run.before ? run.before : run.pace;
    return run.clock.place(run.clock.seconds(pace.at) + (time - pace.time) / pace.slower);
  }

  const roundOf = (at) => Math.max(0, Math.floor((at - run.entry) / run.length));
  const roundEnd = (round) => timeOf(run.entry + (round + 1) * run.length);
  const roundStart = (round) => timeOf(round ? run.entry + round * run.length : run.begin);
  const latency = () => context.outputLatency || context.baseLatency || 0;

  // Schedules what is due. Every time comes from the place itself, so that no error adds up; the
  // sets of what is done see to it that nothing comes twice or is forgotten.
  function lookAhead() {
    const now = context.currentTime;
    const horizon = now + (document.hidden ? AHEAD_HIDDEN : AHEAD);
    while (run.round < run.last && roundEnd(run.round) + run.latest < now - 1)
      run.done.delete(run.round++);
    const due = [];
    for (let round = run.round; round <= run.last; round++) {
      if (roundStart(round) + run.earliest > horizon) break;
      if (!run.done.has(round)) run.done.set(round, new Set());
      const done = run.done.get(round);
      for (const event of run.events) {
        if (round < event.from || round > event.to || done.has(event)) continue;
        const at = event.at + round * run.length;
        const place = timeOf(at);
        if (place + run.earliest >= horizon) break; // and so are all that come later
        const time = Math.max(place + event.offset, run.floor);
        if (time >= horizon) continue;
        done.add(event);
        if (time > now - LATE) due.push({ event, round, at, time });
      }
    }
    due.sort((a, b) => a.time - b.time).forEach(begin);
    run.voices = run.voices.filter((voice) => voice.end > now);
    scheduled.splice(0, scheduled.length - REMEMBERED);
    if (now >= roundEnd(run.last) + latency()) stop(true);
  }

  function begin({ event, round, at, time }) {
    const { kind, part, note, velocity, lasts } = event;
    const voice = lasts
      ? window.lessonTone(context, gains[part], time, event, timeOf(at + lasts) - timeOf(at))
      : sound(context, gains[part], time, note, velocity);
    const choke = kind === "note" && CHOKES[note];
    if (choke)
      for (const other of run.voices)
        if (other.choke === choke && other.time < time)
          other.out.gain.setTargetAtTime(0, time, 0.012);
    const shown = { id: run.id, kind, part, note, velocity, time, at };
    run.voices.push(Object.assign(voice, { event, round, time, choke, shown }));
    scheduled.push(shown);
  }

  // Takes back what has been scheduled from `time` on.
  function takeBack(time) {
    const gone = new Set();
    run.voices = run.voices.filter((voice) => {
      voice.out.gain.cancelScheduledValues(time);
      if (voice.time < time) return true;
      voice.stop();
      voice.out.disconnect();
      run.done.get(voice.round)?.delete(voice.event);
      gone.add(voice.shown);
      return false;
    });
    scheduled = scheduled.filter((each) => !gone.has(each));
  }

  // From now on at another tempo, or another number of times, from the same place.
  function change() {
    const time = context.currentTime + MARGIN;
    const at = placeAt(time);
    takeBack(time);
    run.before = run.pace;
    run.pace = { time, at, slower: run.player.slower() };
    run.floor = time;
    for (const voice of run.voices) voice.until?.(timeOf(voice.shown.at + voice.event.lasts));
    run.last = settings.loop ? Infinity : Math.min(run.last, roundOf(at));
    lookAhead();
  }

  function play(player) {
    stop();
    clearTimeout(resting);
    if (!context) {
      context = new AudioContext();
      output = outputOf(context);
      gains = {};
      for (const part of Object.keys({ ...PARTS, ...CLICKS })) {
        gains[part] = context.createGain();
        gains[part].gain.value = settings[part] === false ? 0 : 1;
        gains[part].connect(output.input);
      }
      setVolume();
      buffersOf(context);
    }
    context.resume();
    const { exercise } = player;
    const events = player.events.filter((event) => settings.countIn || event.part !== "count-in");
    const earliest = Math.min(0, ...events.map((event) => event.offset));
    const time = context.currentTime + LEAD - earliest;
    const begin = settings.countIn ? exercise.clock[0][0] : 0;
    run = {
      player, events, earliest, id: exercise.id, entry: exercise.entry, length: exercise.length,
      latest: Math.max(0, ...events.map((event) => event.offset)), begin, clock: player.clock,
      start: time, pace: { time, at: begin, slower: player.slower() }, floor: 0,
      round: 0, last: settings.loop ? Infinity : 0, done: new Map(), voices: [],
    };
    scheduled = [];
    player.show(true);
    run.timer = setInterval(lookAhead, EVERY_MS);
    run.frame = requestAnimationFrame(follow);
    lookAhead();
  }

  // Ends what plays: at once, or so that what sounds may ring.
  function stop(ring) {
    if (!run) return;
    const now = context.currentTime;
    clearInterval(run.timer);
    cancelAnimationFrame(run.frame);
    takeBack(now);
    if (!ring)
      for (const voice of run.voices) {
        voice.out.gain.setTargetAtTime(0, now, 0.015);
        voice.stop(now + 0.15);
      }
    cursor?.remove();
    run.player.show(false);
    run = null;
    resting = setTimeout(() => context.suspend(), REST_MS);
  }

  function setVolume() {
    output.volume.gain.setTargetAtTime(
      LOUDEST * (settings.volume / 100) ** 2, context.currentTime, 0.01,
    );
  }

  function set(name, value) {
    settings[name] = value;
    if (!context) return;
    if (name === "volume") setVolume();
    else if (name in PARTS) gains[name].gain.setTargetAtTime(+value, context.currentTime, 0.004);
    else if (name === "loop" && run) change();
  }

  // ---- The cursor ----

  const still = matchMedia("(prefers-reduced-motion: reduce)");
  let cursor = null;

  function follow() {
    run.frame = requestAnimationFrame(follow);
    const points = run.player.exercise.cursor;
    const at = placeAt(context.currentTime - latency());
    const place = at - Math.min(run.last, roundOf(at)) * run.length;
    let i = 0;
    while (i + 1 < points.length && points[i + 1][0] <= place) i++;
    if (!points[i]) return;
    const [time, line, x] = points[i];
    const [nextTime, nextLine, nextX] = points[i + 1] || [];
    const glides = !still.matches && nextLine === line && place > time;
    const way = glides ? ((place - time) / (nextTime - time)) * (nextX - x) : 0;
    standAt(run.player.systems[line], x + way);
  }

  function standAt(system, x) {
    if (!system) return;
    cursor ||= document.createElementNS(system.namespaceURI, "line");
    if (cursor.parentNode !== system) {
      const box = system.viewBox.baseVal || { y: 0, height: system.height.baseVal.value };
      cursor.setAttribute("class", "cursor");
      cursor.setAttribute("aria-hidden", "true");
      cursor.setAttribute("y1", box.y);
      cursor.setAttribute("y2", box.y + box.height);
      system.append(cursor);
      const { top, bottom } = system.getBoundingClientRect();
      const covered = run.player.place.getBoundingClientRect().bottom; // by the controls
      if (top < Math.max(0, covered) || bottom > innerHeight)
        system.scrollIntoView({ block: "center", behavior: still.matches ? "auto" : "smooth" });
    }
    cursor.setAttribute("x1", x.toFixed(2));
    cursor.setAttribute("x2", x.toFixed(2));
  }

  // ---- Controls ----

  const SLOWEST = 30;
  const FASTEST = 240;
  const inputs = {}; // those of all exercises that set the same thing

  function make(tag, properties, ...children) {
    const element = Object.assign(document.createElement(tag), properties);
    element.append(...children);
    return element;
  }

  function input(name, text, properties) {
    const key = properties.type === "checkbox" ? "checked" : "value";
    const control = make("input", { ...properties, className: `player-${name}` });
    control[key] = settings[name];
    control.addEventListener("input", () => {
      set(name, key === "checked" ? control.checked : +control.value);
      for (const other of inputs[name]) other[key] = settings[name];
    });
    (inputs[name] ||= []).push(control);
    return make("label", {}, ...(key === "checked" ? [control, text] : [text, control]));
  }

  function build(exercise, section, place) {
    const { tempos, said = tempos } = exercise;
    let tempo = tempos[0];
    const player = {
      exercise,
      place,
      events: eventsOf(exercise),
      systems: section.querySelectorAll("svg.system"),
      tempo: () => tempo,
      clock: clockOf(exercise),
      slower: () => tempos[0] / tempo,
      show(playing) {
        button.textContent = playing ? "Stop" : "Play";
        place.classList.toggle("playing", playing);
      },
    };
    const isPlaying = () => run?.player === player;
    const button = make("button", { type: "button", className: "player-play" }, "Play");
    button.addEventListener("click", () => (isPlaying() ? stop() : play(player)));

    const number = make("input", {
      type: "number", className: "player-tempo", step: "any", value: tempo,
      min: Math.min(SLOWEST, ...tempos), max: Math.max(FASTEST, ...tempos),
    });
    const choices = tempos.map((each, i) => {
      const choice = make("button", { type: "button", className: "player-choice" }, `${said[i]}`);
      choice.addEventListener("click", () => setTempo(each, true));
      return choice;
    });
    const setTempo = (value, write) => {
      if (write) number.value = value;
      const changed = value !== tempo;
      tempo = value;
      choices.forEach((each, i) => each.setAttribute("aria-pressed", tempos[i] === tempo));
      if (changed && isPlaying()) change();
    };
    // What is half typed may be out of range: it counts when it is in it, or when it is done.
    number.addEventListener("input", () => {
      if (number.value && number.checkValidity()) setTempo(+number.value, false);
    });
    number.addEventListener("change", () =>
      setTempo(Math.max(number.min, Math.min(number.max, +number.value || tempo)), true));
    setTempo(tempo, true);

    const has = new Set(player.events.map((event) => event.part));
    const group = (label, ...children) => {
      const element = make("span", { className: "player-group" }, ...children);
      element.setAttribute("role", "group");
      element.setAttribute("aria-label", label);
      return element;
    };
    // On a narrow screen what is set once waits behind a button; the style sheet says how narrow.
    const more = make("button", { type: "button", className: "player-more" }, "More");
    more.setAttribute("aria-expanded", false);
    more.addEventListener("click", () =>
      more.setAttribute("aria-expanded", place.classList.toggle("open")));
    const option = (element) => {
      element.classList.add("player-option");
      return element;
    };
    place.setAttribute("role", "group");
    const heading = section.querySelector("h1, h2, h3, h4, h5, h6");
    place.setAttribute("aria-label", `Player: ${heading?.textContent.trim() || exercise.id}`);
    place.append(
      button,
      make("label", {}, exercise.said ? "Tempo at first " : "Tempo ", number),
      group("Tempos of this exercise", ...choices),
      more,
      option(group("How to play it",
        input("loop", "Loop", { type: "checkbox" }),
        ...(exercise.clock[0][0] < 0 ? [input("countIn", "Count-in", { type: "checkbox" })] : []))),
      option(group("What is heard", ...Object.keys(PARTS).filter((part) => has.has(part))
        .map((part) => input(part, PARTS[part], { type: "checkbox" })))),
      option(input("volume", "Volume", { type: "range", min: 0, max: 100 })),
    );
  }

  function start() {
    const source = document.getElementById("lesson-sound");
    const exercises = source ? JSON.parse(source.textContent).exercises : [];
    for (const exercise of exercises) {
      const section = document.getElementById(exercise.id);
      const place = section?.querySelector(".player");
      if (!place) continue;
      if (window.AudioContext) build(exercise, section, place);
      else place.textContent = "This browser cannot play the exercise, as it has no Web Audio.";
    }
  }

  window.lessonPlayer = {
    get playing() { return run && run.id; },
    get scheduled() { return scheduled; },
    get startTime() { return run && run.start; },
    get tempo() { return run && run.player.tempo(); },
    get context() { return context; },
    get gains() { return gains; },
    sound,
    outputOf,
  };
  addEventListener("keydown", (event) => event.key === "Escape" && stop());
  addEventListener("pagehide", () => stop());
  document.addEventListener("visibilitychange", () => run && lookAhead());
  if (document.readyState === "loading") addEventListener("DOMContentLoaded", start);
  else start();
})();
