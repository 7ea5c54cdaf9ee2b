// What the potter is told now: one face out of what the daemon says. Decides nothing else.
import { words } from "./say.js";

/** In these the hand is at work: touch is locked. */
export const BUSY = new Set(["pouring", "lift", "stop"]);

/** A scale swings when a piece is lifted: shorter than this nothing has landed (seen: 0.12 s). */
const SWING_US = 400_000;

const swings = (live) => live.now.phase === "landing" && live.now.at_us - live.since_us < SWING_US;

/** Whether anybody's loudspeaker plays the cues: this computer's, or a client's. */
export const heard = (now) => now.sound.state === "on" || now.sound.clients > 0;

/** A `fault` was called in mid-pour and no `clear` since: the sound died. */
const deaf = (now) => (now.phase === "pouring" || now.phase === "draining")
  && now.last_cue?.cue === "fault" && now.last_cue.due_us <= now.at_us;

/** What a fault is about. */
const fault = (now) => words.faults[now.step] ?? (deaf(now) || !heard(now) ? words.sound_lost : words.fault);

function trouble(live, now) {
  if (!live.connected) return words.no_connection;
  if (!live.fresh()) return words.old_now;
  if (!now.batch) return null;
  if (now.phase === "fault" || deaf(now)) return fault(now);
  if (now.scale.state === "stale" || now.scale.state === "lost") return words.scale_states[now.scale.state];
  return now.not_recorded > 0 && now.phase === "idle" ? words.not_recorded : null;
}

/** The stop may be due before the phase says so. */
const stopped = (now) => now.last_cue?.cue === "stop" && now.last_cue.due_us <= now.at_us;

/** The steps of a pour that is finished with a trickle, as the daemon says them. */
const SHORT_OF_IT = "stopped short: leave it there", TRICKLE = "a trickle is missing";

/** The face's name, and what is wrong if it is trouble. `pours` are the batch's, the newest last. */
export function face(live, pours) {
  const now = live.now, last = pours[pours.length - 1];
  const wrong = trouble(live, now);
  if (wrong) return { name: "trouble", wrong };
  if (!now.batch) return { name: "empty" };
  switch (swings(live) ? "idle" : now.phase) {
    case "landing": return { name: "landing" };
    case "ready": return { name: "ready" };
    case "pouring": return { name: stopped(now) ? "lift" : "pouring" };
    case "draining": return { name: now.step === SHORT_OF_IT ? "stop" : "lift" };
    case "done": {
      if (now.step === TRICKLE) return { name: "trickle" };
      // One of before may have been put back; one that is poured again has a void one of its number.
      const pour = pours.findLast((p) => p.piece === now.piece && (p === last || p.verdict !== "void"));
      return pour ? { name: pour.verdict, pour, on: true } : { name: "lift" };
    }
    default: return last && last.net_g !== null ? { name: last.verdict, pour: last, on: false } : { name: "next" };
  }
}
