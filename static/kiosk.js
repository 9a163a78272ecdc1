// Pages work without this. It guards against double taps, a signed-in
// tablet left alone, and what Back would show after signing out.
"use strict";
{
  const release = (form) => {
    delete form.dataset.sent;
    for (const b of form.elements) {
      if (b.dataset.held) b.disabled = false;
      delete b.dataset.held;
    }
  };

  document.addEventListener("submit", (e) => {
    const form = e.target;
    if (e.defaultPrevented || form.method === "dialog") return;
    if (form.dataset.sent) return e.preventDefault();
    form.dataset.sent = "yes";
    // Later: a disabled button's value is not sent. Released in the end: a
    // download or a lost line leaves the page where it is.
    setTimeout(() => {
      for (const b of form.elements) {
        if (b.type === "submit" && !b.disabled) {
          b.disabled = true;
          b.dataset.held = "yes";
        }
      }
    });
    setTimeout(release, 10000, form);
  });

  addEventListener("pageshow", (e) => {
    if (e.persisted) return location.reload();
    for (const form of document.forms) release(form);
  });

  const limit = Number(document.body.dataset.idle);
  const dialog = document.getElementById("idle");
  const leave = document.getElementById("sign-out-idle");
  if (limit > 0 && dialog && leave) {
    let last = Date.now();
    const present = () => {
      if (!dialog.open) last = Date.now();
    };
    for (const sign of ["pointerdown", "keydown", "input", "scroll"]) {
      addEventListener(sign, present, { capture: true, passive: true });
    }
    dialog.addEventListener("click", (e) => {
      if (e.target.closest("button")) dialog.close();
    });
    dialog.addEventListener("close", present);
    // By the clock: a tablet that slept signs out when it wakes.
    const watch = setInterval(() => {
      const idle = (Date.now() - last) / 1000;
      if (idle >= limit + 60) {
        clearInterval(watch);
        leave.submit();
      } else if (idle >= limit && !dialog.open) {
        dialog.showModal();
      }
    }, 1000);
  }
}
