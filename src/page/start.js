// Begins: what was given or kept, then the room of the address.

(async () => {
  if (engine.inside && (typeof WebAssembly === 'undefined' || typeof DecompressionStream === 'undefined' || typeof Worker === 'undefined')) {
    by('engine-state').textContent = 'This browser is too old for the page: it needs one of 2023 or later.';
    return;
  }
  recall();
  const given = JSON.parse(by('given').textContent);
  if (given !== null) {
    const setup = JSON.parse(given.replace(/^\uFEFF/, ''));
    if (JSON.stringify(setup) !== JSON.stringify(typed.setup)) {
      // Another setup than the last time: its readings are others too.
      Object.assign(typed, structuredClone(EMPTY), { setup, checkedBy: typed.checkedBy });
      keep();
    }
  }
  addEventListener('hashchange', () => enter(true));
  await setupRoom.build();
  setupRoom.look();
  enter(false);
})();
