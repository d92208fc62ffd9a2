// Whoever signs out or another person who comes leaves no page of a test behind on this device.
// What was entered and is not on the computer yet stays: it belongs to the test.

if ("caches" in self) caches.delete("lungwort-tests-pages").catch(() => false);
