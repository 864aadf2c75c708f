/* What is typed in a form, kept in the browser until the archive has it.

   Each open page keeps its own: two tabs, or two sheets, never write over each other. A page that is opened
   asks the other open ones what they hold; what none of them holds was left behind by a page that is gone (a
   reload, an empty battery), and is taken up. */

const ASK_MS = 150;

const read = (key) => {
  try {
    return JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
};

export class Kept {
  /* key: says archive and form */
  constructor(key) {
    this.key = key;
    this.channel = "BroadcastChannel" in window ? new BroadcastChannel(key) : null;
    try {
      this.id = sessionStorage.getItem(key);
    } catch {
      this.id = null; // a browser that keeps nothing
    }
    this.id ||= this.newId();
    this.channel?.addEventListener("message", ({ data }) => {
      if (data === "who?") this.channel.postMessage(this.id);
    });
  }

  newId() {
    return [...crypto.getRandomValues(new Uint32Array(2))].map((part) => part.toString(36)).join("");
  }

  get place() {
    return `${this.key} | ${this.id}`;
  }

  /* Everything kept for this form, the newest first. */
  drafts() {
    const found = [];
    try {
      for (let at = 0; at < localStorage.length; at++) {
        const place = localStorage.key(at);
        if (!place.startsWith(`${this.key} | `)) continue;
        const draft = read(place);
        if (draft?.fields) found.push({ ...draft, place });
      }
    } catch {
      return [];
    }
    return found.sort((one, other) => (one.at < other.at ? 1 : -1));
  }

  /* Give what this page kept before, or else (takes) the newest that no open page holds; and the others of those. */
  async open(takes) {
    const held = await this.held();
    if (held.has(this.id)) this.id = this.newId(); // a tab that was doubled has the first one's id
    try {
      sessionStorage.setItem(this.key, this.id);
    } catch {
      /* kept for this page only */
    }
    const free = this.drafts().filter((draft) => !held.has(draft.place.split(" | ").pop()));
    let own = free.find((draft) => draft.place === this.place) ?? null;
    if (!own && takes && free.length) {
      own = free[0];
      this.adopt(own);
    }
    return { own, others: free.filter((draft) => draft !== own) };
  }

  held() {
    const ids = new Set();
    if (!this.channel) return Promise.resolve(ids);
    const hear = ({ data }) => data !== "who?" && ids.add(data);
    this.channel.addEventListener("message", hear);
    this.channel.postMessage("who?");
    return new Promise((done) => {
      setTimeout(() => {
        this.channel.removeEventListener("message", hear);
        done(ids);
      }, ASK_MS);
    });
  }

  /* Keep what is typed; says whether the browser did. */
  keep(fields, state) {
    try {
      localStorage.setItem(this.place, JSON.stringify({ at: new Date().toISOString(), fields, state }));
      return true;
    } catch {
      return false;
    }
  }

  adopt(draft) {
    const { place, ...what } = draft;
    try {
      const mine = place === this.place ? null : localStorage.getItem(this.place);
      if (mine) localStorage.setItem(`${this.key} | ${this.newId()}`, mine);
      localStorage.setItem(this.place, JSON.stringify(what));
      if (place !== this.place) localStorage.removeItem(place);
    } catch {
      /* it stays where it was */
    }
  }

  forget(draft) {
    try {
      localStorage.removeItem(draft.place);
    } catch {
      /* nothing was kept */
    }
  }

  drop() {
    this.forget({ place: this.place });
  }
}
