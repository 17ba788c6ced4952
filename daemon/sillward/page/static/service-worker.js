/* Shows the messages that the page sends to this phone, and answers from them. It keeps nothing: without
   a connection there is no page, since a plant that was carried in must not look as if it were out. */

"use strict";

const ICON = "/assets/icon-192.png";
const NOT_SENT = "Not confirmed: no connection. Tap for the page.";

/** An address of the page itself; its first page in place of any other. */
function own(address) {
  const top = self.registration.scope;
  const url = new URL(address || top, top);
  return url.href.startsWith(top) ? url.href : top;
}

function read(data) {
  try {
    return data.json();
  } catch {
    return {};
  }
}

self.addEventListener("push", (event) => {
  const { title, body, url, buttons = [] } = read(event.data);
  const shown = buttons.map(({ text }, number) => ({ action: String(number), title: text }));
  event.waitUntil(
    // A push must show something, whatever came.
    self.registration.showNotification(title || "sillward", {
      body: body || "",
      icon: ICON,
      actions: shown,
      data: { url: own(url), buttons: buttons.map((one) => ({ ...one, url: own(one.url) })) },
    }),
  );
});

self.addEventListener("notificationclick", (event) => {
  const { url, buttons } = event.notification.data;
  const pressed = event.action === "" ? undefined : buttons[Number(event.action)];
  event.notification.close();
  event.waitUntil(
    pressed?.acts ? answer(pressed.url, event.notification) : open(pressed?.url ?? url),
  );
});

/** Answer at once, and show what the page says to it: only that counts. */
async function answer(url, { title, body }) {
  let said = "";
  try {
    const answered = await fetch(url, { method: "POST", cache: "no-store" });
    said = (await answered.text()).trim();
    if (!answered.ok) said ||= NOT_SENT;
  } catch {
    said = NOT_SENT;
  }
  const lost = said === NOT_SENT;
  await self.registration.showNotification(lost ? title : said, {
    body: lost ? `${NOT_SENT}\n${body}` : "",
    icon: ICON,
    data: { url, buttons: [] },
  });
}

/** Bring a page that is open there to the front, or open one. */
async function open(url) {
  const windows = await self.clients.matchAll({ type: "window" });
  const there = windows.find((one) => one.url === url);
  return there ? there.focus() : self.clients.openWindow(url);
}
