// The line to the server: orders there, states and pictures back; taken up again when it is lost.

/** @typedef {{do: string, [part: string]: any}} Order */

/** Orders that mean nothing a moment later: they are not kept for when the line is there again. */
const PASSING = new Set(["point", "turn", "shift", "nearer", "moving", "seen", "check_draw", "tape"]);
const AGAIN_MS = [200, 500, 1000, 2000];

export class Link {
  /**
   * @param {{told: (told: any) => void, frame: (head: any, jpeg: Blob) => void, line: (how: string) => void}} on
   */
  constructor(on) {
    this.on = on;
    /** @type {WebSocket | null} */
    this.socket = null;
    /** @type {Order[]} */
    this.kept = [];
    /** @type {Map<number, (answer: any) => void>} */
    this.asked = new Map();
    this.number = 0;
    this.tries = 0;
    this.open();
  }

  open() {
    const socket = new WebSocket(`ws://${location.host}/live`);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => {
      this.socket = socket;
      this.tries = 0;
      this.on.line("there");
      for (const order of this.kept.splice(0)) this.send(order);
    };
    socket.onmessage = (event) => {
      if (typeof event.data === "string") this.hear(JSON.parse(event.data));
      else this.see(event.data);
    };
    socket.onclose = () => {
      const wasThere = this.socket !== null;
      this.socket = null;
      // Nobody answers any more what was asked on the old line.
      for (const answer of this.asked.values()) answer(null);
      this.asked.clear();
      if (wasThere || this.tries === 0) this.on.line("lost");
      setTimeout(() => this.again(), AGAIN_MS[Math.min(this.tries++, AGAIN_MS.length - 1)]);
    };
  }

  async again() {
    // A socket that is refused does not say why; an ordinary request does.
    const answer = await fetch("/page.css", { method: "HEAD" }).catch(() => null);
    if (answer && !answer.ok) this.on.line("other");
    else this.open();
  }

  /** @param {Order} order */
  send(order) {
    if (this.socket) this.socket.send(JSON.stringify(order));
    else if (!PASSING.has(order.do)) this.kept.push(order);
  }

  /**
   * Send an order that is answered; null where the line was lost.
   * @param {Order} order
   * @returns {Promise<any>}
   */
  ask(order) {
    if (!this.socket) return Promise.resolve(null);
    const n = ++this.number;
    return new Promise((answer) => {
      this.asked.set(n, answer);
      this.send({ ...order, n });
    });
  }

  /** @param {any} told */
  hear(told) {
    const answer = told.n === undefined ? undefined : this.asked.get(told.n);
    if (answer) {
      this.asked.delete(told.n);
      answer(told.is === "said" || told.is === "nothing" ? null : told);
      if (told.is !== "said") return;
    }
    this.on.told(told);
  }

  /** @param {ArrayBuffer} data */
  see(data) {
    const length = new DataView(data).getUint32(0, true);
    const head = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, length)));
    this.on.frame(head, new Blob([new Uint8Array(data, 4 + length)], { type: "image/jpeg" }));
  }
}
