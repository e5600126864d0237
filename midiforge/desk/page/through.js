// A lesson heard through a MIDI port: the live engine plays, and the page follows its clock.

import { button, make } from "../../pages/player/element.js";
import { playInstead } from "../../pages/player/transport.js";
import { players } from "../../pages/player/way.js";
import { placeIn } from "./bars.js";
import { look, open } from "./lesson.js";
import { clock, hear, newName, say } from "./live.js";
import { bringIntoSight, playerOf } from "./music.js";
import { tell } from "./news.js";
import { sound, timesWanted } from "./sound.js";
import { begin, numberOf, setTempo, silenced, whereIn } from "./steering.js";
import { offer } from "./taking.js";

/** @typedef {import("../../pages/player/run.js").Player} Player */

const SETTLED_MS = 350; // since a tempo was last typed, or a key

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
    this.drill = open.drill;
    this.digest = open.lesson?.digest; // of what the player knows of
    this.isShown = true; // on the exercise that it plays
    /** @type {import("./bars.js").Bar[]} */
    this.bars = [];
    /** @type {number | null} */
    this.pausedAt = null;
    this.timer = this.editing = 0;
    this.line = make("p", { className: "player-through" });
    this.said = make("span", { className: "through-said" }, "Getting ready …");
    this.pause = button("through-pause", "Pause", () => say({ do: "wish", wish: "pause" }));
    this.line.append(this.said, this.pause, button("through-stop", "Stop", () => this.ended()));
    player.place.append(this.line);
    begin(player, this.id);
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
    if (!isNow(this.bars.at(-1))) return false;
    const [number, tempo] = numberOf(player);
    say({ do: "choose", number, tempo });
    this.said.textContent += ` Exercise ${number} comes with the next bar.`;
    return true;
  }

  /**
   * The lesson has been changed: it sounds as it is now from the next round on.
   * @param {string} digest
   */
  edited(digest) {
    if (open.drill !== this.drill) return this.ended();
    if (digest === this.digest) return;
    this.digest = digest;
    clearTimeout(this.editing);
    this.editing = setTimeout(() => say({ do: "edit", drill: open.drill }), SETTLED_MS);
  }

  /** Where it was shown is other music now: nothing is shown on that. */
  lost() {
    this.player.show(null);
    this.isShown = false;
    document.body.append(this.line);
    const bar = this.bars.at(-1);
    if (bar) this.said.textContent = whereIn(bar, this.port, isNow(bar));
  }

  end() {
    clearTimeout(this.timer);
    clearTimeout(this.editing);
    say({ do: "stop" });
    this.line.remove();
    current = null;
  }

  /** @param {import("./live.js").Said} news */
  news({ begun, bar, state, said, busy, wrong, broken, taken, over, closed, anew }) {
    if (anew) return this.anew();
    if (begun) this.port = begun.port || "a port of midiforge's own";
    if (said) tell(said);
    if (state) this.state(state);
    if (bar) this.bar(bar);
    if (busy) return this.offer(busy);
    if (wrong || broken) tell(wrong ? `Through MIDI: ${wrong.said}` : broken);
    if (taken) tell("Another page plays now, so this one has stopped.");
    if (closed) tell("midiforge was away for a moment; what played has stopped.");
    if (over || taken || closed) this.ended();
  }

  /** What was changed cannot be played on. */
  anew() {
    this.id = newName();
    this.said.textContent = "The lesson begins anew, as it is for another kit or band now …";
    begin(this.player, this.id);
  }

  /** @param {{ paused: boolean }} state */
  state({ paused }) {
    this.pausedAt = paused ? clock() : null;
    this.pause.textContent = paused ? "Go on" : "Pause";
  }

  /** @param {import("./bars.js").Bar} bar */
  bar(bar) {
    const before = this.bars.at(-1);
    const isOther = bar.exercise !== before?.exercise || bar.digest !== before.digest;
    this.bars = isOther ? [bar] : [...this.bars.slice(-1), bar];
    this.pausedAt = null;
    if (isOther || !this.isShown) this.turnTo(bar);
    this.said.textContent = whereIn(bar, this.port, isNow(bar));
  }

  /**
   * Shows a bar where it stands on the page; nowhere, as long as other music stands there.
   * @param {import("./bars.js").Bar} bar
   */
  turnTo(bar) {
    const player = isNow(bar) && playerOf(bar.exercise);
    if (!player) {
      if (this.isShown && isNow(bar) && !document.activeElement?.closest(".form"))
        bringIntoSight(parseInt(bar.exercise)); // which sets it
      if (this.isShown) this.lost();
      setTimeout(() => current === this && !this.isShown && bar === this.bars.at(-1)
        && this.turnTo(bar), 200);
    } else if (player !== this.player || !this.isShown) {
      this.player.show(null);
      setTempo(player, bar);
      this.player = player;
      this.isShown = true;
      player.place.append(this.line);
      player.show(this);
    }
  }

  /**
   * Something else is live.
   * @param {string} what
   */
  offer(what) {
    this.said.textContent = what === "practise" ? "A session at the kit is running. "
      : "Another page is using MIDI. ";
    this.pause.hidden = true;
    offer("Play here instead", this.said.textContent, this.pause, () => {
      this.said.textContent = "Getting ready …";
      this.pause.hidden = false;
      this.pause.focus();
      begin(this.player, this.id, true);
    });
  }
}

/** @type {Through | null} */
let current = null;

hear((said) => {
  if (current && (said.id === current.id || said.taken || said.closed))
    current.news(said);
});

/**
 * Whether a bar is of the lesson as it is on the page.
 * @param {import("./bars.js").Bar | undefined} bar
 */
const isNow = (bar) => !!bar && bar.digest === open.lesson?.digest;

look(({ digest }) => current?.edited(digest));

playInstead((player, ended) => {
  if (!sound.value || !players.includes(player)) return null;
  return (current = new Through(player, ended));
});
