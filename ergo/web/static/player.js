// Where we are in the session, and every way to go elsewhere.
export class Player {
  constructor(onFrame, onPlay) {
    Object.assign(this, { onFrame, onPlay });
    this.frame = 0;
    this.speed = 1;
    this.isPlaying = false;
  }

  show(session) {
    this.session = session;
    this.go(Math.min(this.frame, session.frames - 1));
  }

  go(frame) {
    this.frame = Math.min(Math.max(0, frame), this.session.frames - 1);
    this.onFrame(this.frame);
  }

  step(by) { this.pause(); this.go(this.frame + by); }

  toggle() { if (this.isPlaying) this.pause(); else this.play(); }

  play() {
    if (this.frame >= this.session.frames - 1) this.go(0);
    this.isPlaying = true;
    this.onPlay(true);
    let before = performance.now(), place = this.session.arrays.line_s[this.frame];
    const tick = (now) => {
      if (!this.isPlaying) return;
      place += (now - before) / 1000 * this.speed;
      before = now;
      const times = this.session.arrays.line_s;
      let frame = this.frame;
      while (frame < this.session.frames - 1 && times[frame + 1] <= place) frame++;
      if (frame !== this.frame) this.go(frame);
      if (frame >= this.session.frames - 1) this.pause();
      else requestAnimationFrame(tick);
    };
    requestAnimationFrame(tick);
  }

  pause() {
    this.isPlaying = false;
    this.onPlay(false);
  }

  // Holds in order of time; after the last one, the first again.
  nextHold() { return this._next(this.session.facts.holds, (hold) => hold.first); }

  // Holds by length, longest first; asked again, the next longest.
  longestHold() {
    const holds = [...this.session.facts.holds].sort((a, b) => b.length_s - a.length_s);
    if (!holds.length) return null;
    const at = holds.indexOf(this.shownHold);
    this.shownHold = holds[(at + 1) % holds.length];
    this.pause();
    this.go(this.shownHold.first);
    return this.shownHold;
  }

  // Worst moments, worst first.
  nextWorst() {
    const { moments } = this.session.facts;
    if (!moments.length) return null;
    const at = moments.findIndex((moment) => moment.frame === this.frame);
    const next = moments[(at + 1) % moments.length];
    this.pause();
    this.go(next.frame);
    return next;
  }

  _next(places, frameOf) {
    if (!places.length) return null;
    const next = places.find((each) => frameOf(each) > this.frame) ?? places[0];
    this.pause();
    this.go(frameOf(next));
    return next;
  }
}
