// A lesson heard through a MIDI port: the live engine plays, and the page follows its clock.

import { button, make } from "../../pages/player/element.js";
import { PARTS } from "../../pages/player/lesson.js";
import { settings } from "../../pages/player/settings.js";
import { playInstead } from "../../pages/player/transport.js";
import { players } from "../../pages/player/way.js";
import { placeIn } from "./bars.js";
import { open } from "./lesson.js";
import { clock, hear, newName, say } from "./live.js";
import { bringIntoSight } from "./music.js";
import { tell } from "./news.js";
import { OWN_PORT } from "./ports.js";
import { band, pads, sound, timesWanted, wanted } from "./sound.js";

/** @typedef {import("../../pages/player/run.js").Player} Player */

const SETTLED_MS = 350; // since a tempo was last typed


/** An exercise that is played through MIDI, and those that follow it. */
class Through {
  /**
   * @param {Player} player
   * @param {() => void} ended
   */
  constructor(player, ended) {
    this.player = player;
    this.ended = ended;
    this.id = newName();
    this.digest = open.lesson?.digest;
    /** @type {import("./bars.js").Bar[]} */
    this.bars = [];
    /** @type {number | null} */
    this.pausedAt = null;
    this.timer = 0;
    this.line = make("p", { className: "player-through" });
    this.said = make("span", { className: "through-said" }, "Getting ready …");
    this.pause = button("through-pause", "Pause", () => say({ do: "wish", wish: "pause" }));
    this.line.append(this.said, this.pause);
    player.place.append(this.line);
    this.ask(false);
  }

  /** @param {boolean} over whether what another page plays ends for it */
  ask(over) {
    const [number, tempo] = numberOf(this.player), virtual = sound.value === OWN_PORT;
    say({ do: "play", id: this.id, over, drill: open.drill, number, tempo, virtual,
      port: virtual ? "" : sound.value, band: band.value, input: pads.value,
      times: timesWanted(), muted: silenced(), clock: wanted.clock });
  }

  heardPlace() {
    const bar = this.bars.at(-1);
    if (!bar) return -Infinity;
    const { entry, length } = this.player.exercise;
    const at = placeIn(this.bars, this.pausedAt ?? clock());
    return at < entry + length ? at : entry + ((at - entry) % length);
  }

  change() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      say({ do: "times", times: timesWanted() });
      say({ do: "choose", tempo: this.player.tempo() });
    }, SETTLED_MS);
  }

  heard() {
    say({ do: "mute", muted: silenced() });
  }

  /** @param {Player} player */
  goTo(player) {
    if (this.digest !== open.lesson?.digest || !this.bars.length) return false;
    const [number, tempo] = numberOf(player);
    say({ do: "choose", number, tempo });
    this.said.textContent += ` Exercise ${number} comes with the next bar.`;
    return true;
  }

  end() {
    clearTimeout(this.timer);
    say({ do: "stop" });
    this.line.remove();
    current = null;
  }

  /** @param {import("./live.js").Said} news */
  news({ begun, bar, state, said, busy, wrong, broken, taken, over, closed }) {
    if (begun) this.port = begun.port || "a port of midiforge's own";
    if (said) tell(said);
    if (state) this.state(state);
    if (bar) this.bar(bar);
    if (busy) return this.offer(busy);
    if (wrong) tell(`Through MIDI: ${wrong.said}`);
    if (broken) tell(broken);
    if (taken) tell("Another page plays now, so this one has stopped.");
    if (closed) tell("midiforge was away for a moment; what played has stopped.");
    if (over || taken || closed) this.ended();
  }

  /** @param {{ paused: boolean }} state */
  state({ paused }) {
    this.pausedAt = paused ? clock() : null;
    this.pause.textContent = paused ? "Go on" : "Pause";
  }

  /** @param {import("./bars.js").Bar} bar */
  bar(bar) {
    const isOther = bar.exercise !== this.bars.at(-1)?.exercise;
    this.bars = isOther ? [bar] : [...this.bars.slice(-1), bar];
    this.pausedAt = null;
    if (isOther) this.turnTo(bar.exercise);
    const where = bar.number < 0 ? "count-in" : `bar ${bar.number + 1} of ${bar.of}`;
    const times = bar.times ? ` of ${bar.times}` : "";
    this.said.textContent = `Through ${this.port}: ${bar.exercise} at ${bar.tempo}, ${where}, `
      + `time ${bar.time}${times}.`;
  }

  /** @param {string} number */
  turnTo(number) {
    const player = players.find(({ exercise }) => exercise.numbers.includes(number));
    if (!player) {
      bringIntoSight(parseInt(number));
      setTimeout(() => current === this && this.bars.at(-1)?.exercise === number
        && this.turnTo(number), 200);
    } else if (player !== this.player) {
      this.player.show(null);
      this.player = player;
      player.place.append(this.line);
      player.show(this);
    }
  }

  /**
   * Something else is live.
   * @param {string} what
   */
  offer(what) {
    const said = what === "practise" ? "A session at the kit is running. "
      : "Another page is using MIDI. ";
    const take = button("through-take", "Play here instead", () => {
      take.remove();
      this.said.textContent = "Getting ready …";
      this.pause.hidden = false;
      this.pause.focus();
      this.ask(true);
    });
    this.said.textContent = said;
    this.pause.hidden = true;
    this.line.append(take);
    tell(said);
    take.focus();
  }
}

/** @type {Through | null} */
let current = null;

hear((said) => {
  if (current && (said.id === current.id || said.taken || said.closed))
    current.news(said);
});

playInstead((player, ended) => {
  if (!sound.value || !players.includes(player)) return null;
  return (current = new Through(player, ended));
});

/**
 * The number of what a player would play, and its tempo where that is another than written.
 * @param {Player} player
 * @returns {[number: string, tempo: number | null]}
 */
function numberOf({ exercise: { numbers, tempos }, tempo }) {
  const near = tempos.reduce((best, one, i) =>
    Math.abs(one - tempo()) < Math.abs(tempos[best] - tempo()) ? i : best, 0);
  return [numbers[near], tempos[near] === tempo() ? null : tempo()];
}

function silenced() {
  return Object.keys(PARTS).filter((part) => !settings[part]);
}
