// The link to the boat's server, judged by the page's own clock.
// A frame older than TOO_OLD_S on arrival is dropped; after a sleep the link is opened anew, as its buffers are old.

const TOO_OLD_S = 2;
const SLEPT_S = 1;
const RETRY_MS = 2000;
const now_s = () => performance.now() / 1000;

export class Link {
  constructor(url, onState) {
    this.url = url;
    this.onState = onState;
    this.heard_s = now_s(); // when the newest frame was made; before the first, when the page came up
    this.ever = false;
    this.slept_s = 0; // performance.now() stands still while some devices sleep
    this.lastTick = [now_s(), Date.now() / 1000];
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.open(); });
    this.open();
  }

  open() {
    this.source?.close();
    clearTimeout(this.retry);
    this.difference_s = Infinity; // page clock minus server clock; the least seen has the least delay in it
    this.opened_s = now_s();
    this.source = new EventSource(this.url);
    this.source.onopen = () => { this.difference_s = Infinity; };
    this.source.onmessage = (event) => this.take(JSON.parse(event.data));
    this.source.onerror = () => {
      if (this.source.readyState === EventSource.CLOSED) this.retry = setTimeout(() => this.open(), RETRY_MS);
    };
  }

  take(state) {
    const apart_s = now_s() - state.stamp_s;
    this.difference_s = Math.min(this.difference_s, apart_s - state.age_s);
    const age_s = apart_s - this.difference_s;
    if (age_s > TOO_OLD_S) {
      if (now_s() - this.opened_s > TOO_OLD_S) this.open(); // skip what else is on its way
      return;
    }
    this.heard_s = now_s() - age_s;
    this.slept_s = 0;
    this.ever = true;
    this.onState(state);
  }

  // Seconds since the newest frame was made. To be called a few times a second.
  silence_s() {
    const [before_s, wallBefore_s] = this.lastTick;
    this.lastTick = [now_s(), Date.now() / 1000];
    const slept_s = this.lastTick[1] - wallBefore_s - (this.lastTick[0] - before_s);
    if (slept_s > SLEPT_S) {
      this.slept_s += slept_s;
      this.open();
    }
    return now_s() - this.heard_s + this.slept_s;
  }
}
