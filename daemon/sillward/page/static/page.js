/* What the page does where scripts run. Everything works without: forms are posted, pages loaded.

   On a page whose <main> has `data-live`, a form is posted in the background and the page that
   comes back takes the place of the one shown; once a minute, and when the page comes back to the
   foreground, it is asked for again. What a page says counts, never what was pressed: until the
   server says that something is done, it is shown as to do.

   `data-card` with an id: a part that stays as it is, ticks and folds and all, if the server says
   the same of it; so does each child of <main>. `#news`: what was said last. `#said`, `#stale`:
   lines for this script. */

"use strict";

(() => {
  const LOOK_MS = 60_000; // between two looks at what is new
  const LOOK_AGAIN_MS = 10_000; // after one that failed
  const MISSES = 2; // in a row, until the page says that it is old
  const OLD_MS = 150_000; // without a look, as after a night in a pocket
  const ANSWER_MS = 15_000; // to wait for an answer; the server itself waits for 10 s
  const RESEND_MS = [1_000, 4_000]; // before an answer that got lost is sent once and twice more
  const SAID_MS = 12_000; // that a line stays above the navigation
  const STEADY_MS = 700; // after a change: a second tap was meant for what stood there before
  const NO_ANSWER = "Not confirmed: no connection. Press again when there is one.";

  const $ = (selector, within = document) => within.querySelector(selector);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

  /* -- the server */

  /** Ask; return the answer with its text, or null if none came. */
  async function ask(address, options = {}) {
    const patience = new AbortController();
    const timer = setTimeout(() => patience.abort(), ANSWER_MS);
    try {
      const answer = await fetch(address, {
        credentials: "same-origin",
        cache: "no-store",
        signal: patience.signal,
        ...options,
      });
      return { ok: answer.ok, address: new URL(answer.url), text: await answer.text() };
    } catch {
      return null;
    } finally {
      clearTimeout(timer);
    }
  }

  /* -- what is shown */

  let servedPage = ""; // what is between <main> and </main>, as it came
  let served = new Map(); // the cards in it, by their ids
  let servedParts = []; // the children of <main>, one by one
  let changedAt = -Infinity; // when something moved under the thumb

  const parse = (text) => new DOMParser().parseFromString(text, "text/html");
  const cardsOf = (main) => all("[data-card][id]", main);
  const htmlOf = (main) => new Map(cardsOf(main).map((card) => [card.id, card.outerHTML]));
  const partsOf = (main) => [...main.children].map((part) => part.outerHTML);
  const newsIn = (main) => $("#news", main)?.textContent.trim() ?? "";

  const isChanged = (field) =>
    field.type === "checkbox" || field.type === "radio"
      ? field.checked !== field.defaultChecked
      : field.type !== "hidden" && "defaultValue" in field && field.value !== field.defaultValue;

  /** Whether somebody is filling in something. */
  const isFilling = () =>
    Boolean(document.activeElement?.matches("textarea, select, input:not([type=checkbox])")) ||
    all("main input, main textarea").some(isChanged);

  /** Put a page in the place of the one shown. mine: it answers what was pressed here. */
  function show(fresh, mine) {
    const main = $("main"), next = $("main", fresh);
    const told = newsIn(main), place = placeOf(main), focused = document.activeElement;
    const focusedCard = focused?.closest("[data-card]")?.id;
    const folds = new Set(all("details[open]", main).map(foldOf));
    const html = htmlOf(next), parts = partsOf(next), text = next.innerHTML;
    const whole = new Map(servedParts.map((part, at) => [part, main.children[at]]));
    const moves = mine || [...html.keys()].join() !== [...served.keys()].join();
    [...next.children].forEach((part, at) => {
      const old = whole.get(parts[at]);
      if (old) part.replaceWith(old);
      whole.delete(parts[at]); // of two that are alike one is kept, and is not taken twice
    });
    for (const card of cardsOf(next)) {
      const old = document.getElementById(card.id);
      if (old && served.get(card.id) === card.outerHTML) card.replaceWith(old);
    }
    for (const fold of all("details", next)) if (folds.has(foldOf(fold))) fold.open = true;
    main.replaceChildren(...next.childNodes);
    served = html;
    servedParts = parts;
    servedPage = text;
    document.title = fresh.title;
    stay(place);
    if (focused && main.contains(focused)) focused.focus({ preventScroll: true });
    else if (focusedCard) focusOn(document.getElementById(focusedCard), main);
    if (moves) changedAt = performance.now();
    if (newsIn(main) && told !== newsIn(main)) tell($("#news", main));
  }

  /** What a fold is called: its card and its own words, or its own words alone. */
  const foldOf = (fold) =>
    `${fold.closest("[data-card]")?.id ?? ""} ${fold.className || $("summary", fold)?.textContent.replace(/\d+/g, "").trim()}`;

  /** The uppermost card in sight and where it stands, to leave it there. */
  function placeOf(main) {
    const card = cardsOf(main).find((one) => one.getBoundingClientRect().bottom > 0);
    return card && [card.id, card.getBoundingClientRect().top];
  }

  function stay(place) {
    const card = place && document.getElementById(place[0]);
    const shift = isInSight(card) ? card.getBoundingClientRect().top - place[1] : 0;
    if (shift && window.scrollY > 0) window.scrollBy({ top: shift, behavior: "instant" });
  }

  /** Whether a part is there and not folded away. */
  const isInSight = (part) => Boolean(part?.checkVisibility?.() ?? part?.offsetParent);

  /** Go on from a card with the keyboard, or from the top if it is folded away. */
  function focusOn(card, main) {
    const goal = isInSight(card) ? card : $("h1", main);
    goal.tabIndex = -1;
    goal.focus({ preventScroll: true });
  }

  /* -- lines of this script */

  let saidTimer;

  /** Tell what was said last: its words alone to who hears them, if it is in sight already. */
  function tell(news) {
    const box = news.getBoundingClientRect();
    const isSeen = box.top >= 0 && box.bottom <= innerHeight;
    say(isSeen ? [document.createTextNode($("p", news)?.textContent ?? "")] : news.childNodes);
    $("#said").classList.toggle("unseen", isSeen);
  }

  /** Show lines above the navigation for a while, where screen readers tell them. */
  function say(nodes) {
    $("#said").classList.remove("unseen");
    $("#said").replaceChildren(...[...nodes].map((node) => node.cloneNode(true)));
    clearTimeout(saidTimer);
    saidTimer = setTimeout(unsay, SAID_MS);
  }

  function unsay() {
    const said = $("#said");
    if (said.contains(document.activeElement)) saidTimer = setTimeout(unsay, SAID_MS);
    else said.replaceChildren();
  }

  /** Say that what is shown is old, or take that back. */
  function mark(text, ...more) {
    const stale = $("#stale");
    if (stale.firstChild?.textContent !== text) stale.replaceChildren(...(text ? [text, ...more] : []));
  }

  const shownAt = () => `Shown at ${$("#stale").dataset.at}`;

  /** Say why nothing has come of a form: there, or above the navigation if it is gone. */
  function complain(form, text) {
    const line = document.createElement("p");
    line.className = "note late complaint";
    line.textContent = text;
    if (!form.isConnected) return say([line]);
    line.setAttribute("role", "alert");
    form.append(line);
  }

  /* -- answers */

  let sending = 0; // answers on their way
  let turn = Promise.resolve(); // one after the other, so that the last page is the newest

  function onSubmit(event) {
    const form = event.target, button = event.submitter;
    if (form.method !== "post" || event.defaultPrevented) return;
    if (form.enctype === "multipart/form-data") return sendOnce(event); // a photo goes the plain way
    event.preventDefault();
    if (form.dataset.sending || performance.now() - changedAt < STEADY_MS) return;
    const fields = new FormData(form);
    if (button?.name) fields.append(button.name, button.value);
    form.dataset.sending = "yes";
    (button ?? form).setAttribute("aria-busy", "true");
    all(".complaint", form).forEach((line) => line.remove());
    sending += 1;
    turn = turn.then(() => send(form, button, fields)).catch(() => location.reload());
  }

  async function send(form, button, fields) {
    const options = { method: "POST", body: new URLSearchParams(fields), keepalive: true };
    let answer = await ask(form.action, options);
    for (const pause of RESEND_MS) {
      if (answer) break;
      await wait(pause);
      answer = await ask(form.action, options);
    }
    sending -= 1;
    delete form.dataset.sending;
    (button ?? form).removeAttribute("aria-busy");
    if (answer?.ok) return take(answer, true);
    const page = answer && (await ask(location.href)); // refused: what is shown may be old
    if (page?.ok) take(page, false);
    complain(form, answer ? reasonIn(answer.text) : NO_ANSWER);
  }

  const reasonIn = (text) =>
    all("main p", parse(text))[0]?.textContent ?? "This was not done; load the page again.";

  /** Show the page of an answer; go there if it is another one. */
  function take(answer, mine) {
    const fresh = parse(answer.text);
    if (answer.address.pathname !== location.pathname || !$("main[data-live]", fresh)) {
      location.assign(answer.address);
      return;
    }
    seen(fresh);
    if (mine || $("main", fresh).innerHTML !== servedPage) show(fresh, mine);
  }

  /* -- what is new */

  let lookTimer, looking = false, misses = 0;
  let seenAt = Date.now();

  /** The server was heard: what is shown is current. */
  function seen(fresh) {
    misses = 0;
    seenAt = Date.now();
    $("#stale").dataset.at = $("#stale", fresh).dataset.at;
    mark("");
  }

  async function look() {
    clearTimeout(lookTimer);
    if (document.visibilityState !== "visible" || looking) return;
    if (Date.now() - seenAt > OLD_MS) mark(`${shownAt()}. Looking for what is new …`);
    looking = true;
    const before = turn;
    const answer = sending ? null : await ask(location.href);
    looking = false;
    if (sending || before !== turn) return later(LOOK_AGAIN_MS); // an answer brings the page itself
    if (answer?.ok) {
      notice(answer);
      return later(LOOK_MS);
    }
    misses += 1;
    if (misses >= MISSES) mark(`${shownAt()}. ${answer ? "Nothing newer can be had just now" : "No connection"}.`);
    later(LOOK_AGAIN_MS);
  }

  const later = (ms) => (lookTimer = setTimeout(look, ms));

  /** Show what is new, unless that would take away what somebody is filling in. */
  function notice(answer) {
    const next = $("main", parse(answer.text));
    const html = next && htmlOf(next);
    const same = html && html.size === served.size && [...html].every(([id, text]) => served.get(id) === text);
    if (same || !isFilling()) return take(answer, false);
    const button = document.createElement("button");
    button.className = "quiet";
    button.textContent = "Show it";
    button.addEventListener("click", () => take(answer, true));
    mark("This has changed meanwhile. ", button);
  }

  /* -- start */

  /** Forms of other pages: what is sent twice by a nervous thumb is sent once. */
  function sendOnce(event) {
    const form = event.target;
    if (form.method !== "post" || event.defaultPrevented) return;
    if (form.dataset.sending) return event.preventDefault();
    form.dataset.sending = "yes";
    setTimeout(() => delete form.dataset.sending, ANSWER_MS); // somebody may have stopped it
  }

  addEventListener("pageshow", (event) => {
    for (const form of all("form[data-sending]")) delete form.dataset.sending;
    if (event.persisted && $("main[data-live]")) look();
  });

  if ($("main[data-live]")) {
    served = htmlOf($("main"));
    servedParts = partsOf($("main"));
    servedPage = $("main").innerHTML;
    document.addEventListener("submit", onSubmit);
    document.addEventListener("visibilitychange", look);
    addEventListener("online", look);
    later(LOOK_MS);
  } else {
    document.addEventListener("submit", sendOnce);
  }
})();
