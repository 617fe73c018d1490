// The stream of events. The browser itself comes back with the last id after a break; this looks
// after the cases in which it gives up or waits on a dead line.

const SILENCE_MS = 30_000;
const AGAIN_MS = 1_000;

export function follow(address, handlers, tellState) {
  let source = null;
  let watchdog = 0;
  let again = 0;

  function open() {
    source?.close();
    clearTimeout(again);
    source = new EventSource(address);
    source.onopen = () => {
      tellState(true);
      heard();
    };
    source.onerror = () => {
      tellState(false);
      if (source.readyState === EventSource.CLOSED) again = setTimeout(open, AGAIN_MS);
    };
    source.addEventListener("beat", heard);
    for (const [name, handle] of Object.entries(handlers)) {
      source.addEventListener(name, (event) => {
        heard();
        handle(JSON.parse(event.data));
      });
    }
    heard();
  }

  function heard() {
    clearTimeout(watchdog);
    watchdog = setTimeout(() => {
      tellState(false);
      open();
    }, SILENCE_MS);
  }

  open();
}
