/* "Tell this phone": asks the browser where messages to it go, and posts that with the form. Where it
   cannot, it says why. */

"use strict";

(() => {
  const form = document.getElementById("tell-phone");
  if (!form) return;
  const says = document.getElementById("phone-says");
  const say = (text) => { says.textContent = text; };
  const button = form.querySelector("button");
  const { key, worker, page } = form.dataset;

  const obstacle = () => {
    if (page && new URL(page).origin !== location.origin)
      return `Open the page by the address that messages lead to: ${page}`;
    if (!isSecureContext) return "This takes a page by https.";
    if ("PushManager" in window && "serviceWorker" in navigator && "Notification" in window)
      return "";
    if (/iPhone|iPad/.test(navigator.userAgent))
      return "On an iPhone or iPad, first add the page to the home screen (Share), and open it there.";
    return "This browser takes no messages from pages.";
  };

  /** base64 for addresses, without padding, and back (RFC 7515, appendix C). */
  const toBase64 = (buffer) =>
    btoa(String.fromCharCode(...new Uint8Array(buffer)))
      .replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
  const fromBase64 = (text) =>
    Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));

  /** Whether we can sign what is sent there: it is for one key alone. */
  const isForUs = ({ options }) =>
    options.applicationServerKey && toBase64(options.applicationServerKey) === key;

  /** The part of the page about this phone, if it is told: found by a digest of where messages go. */
  async function told() {
    const registered = await navigator.serviceWorker.getRegistration(worker);
    const given = await registered?.pushManager.getSubscription();
    if (!given || !isForUs(given)) return null;
    const digest = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(given.endpoint));
    const hex = [...new Uint8Array(digest)].map((one) => one.toString(16).padStart(2, "0")).join("");
    return document.querySelector(`[data-phone="${hex}"]`);
  }

  /** Where messages to this browser go; it is asked anew if that was for another key. */
  async function subscription() {
    await navigator.serviceWorker.register(worker);
    const { pushManager } = await navigator.serviceWorker.ready;
    const known = await pushManager.getSubscription();
    if (known && isForUs(known)) return known;
    await known?.unsubscribe();
    return pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: fromBase64(key) });
  }

  async function tell() {
    button.disabled = true;
    try {
      if ((await Notification.requestPermission()) !== "granted") {
        say("This browser was not allowed to show messages. Its settings can allow it.");
        return;
      }
      const given = await subscription();
      form.elements.endpoint.value = given.endpoint;
      form.elements.p256dh.value = toBase64(given.getKey("p256dh"));
      form.elements.auth.value = toBase64(given.getKey("auth"));
      form.submit();
    } catch (error) {
      say(`It did not work: ${error.message}`);
    } finally {
      button.disabled = false;
    }
  }

  const why = obstacle();
  if (why) {
    say(why);
    return;
  }
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    tell();
  });
  told()
    .catch(() => null)
    .then((known) => {
      if (known && Notification.permission === "granted") {
        known.querySelector(".this-phone").hidden = false;
        say("This phone is told.");
        form.querySelector(".whose").remove();
        button.textContent = "Send it a message again";
      }
      form.hidden = false;
    });
})();
