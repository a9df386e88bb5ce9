"use strict";

// A tap on a notification leads to the page that rang.
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const show = async () => {
    const open = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
    return open.length ? open[0].focus() : self.clients.openWindow("/");
  };
  event.waitUntil(show());
});
