// The moment that playback and traces show; whoever listens is told when it moves, or starts, or stops.

class Clock {
  constructor(end) {
    this.end = end;
    this.time = 0;
    this.pace = 1;
    this.playing = false;
    this.listeners = [];
  }

  listen(listener) {
    this.listeners.push(listener);
  }

  tell() {
    for (const listener of this.listeners) listener(this.time);
  }

  jump(time) {
    this.time = clamped(time, 0, this.end);
    this.tell();
  }

  play() {
    if (this.playing) return;
    if (this.time >= this.end) this.time = 0;
    this.playing = true;
    let last = performance.now();
    const frame = (now) => {
      if (!this.playing) return;
      this.time = Math.min(this.time + ((now - last) / 1000) * this.pace, this.end);
      last = now;
      if (this.time >= this.end) this.playing = false;
      this.tell();
      if (this.playing) requestAnimationFrame(frame);
    };
    requestAnimationFrame(frame);
    this.tell();
  }

  pause() {
    this.playing = false;
    this.tell();
  }

  toggle() {
    if (this.playing) this.pause(); else this.play();
  }
}
