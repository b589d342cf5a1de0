// The room that asks whether the check is good enough: an answer at once, refined while one looks.

rooms.check = (() => {
  const STEPS = [2_000, 10_000, 40_000];
  let shownDigest = null;
  let step = 0;

  async function refine() {
    if (room() !== 'check' || !bench) return;
    const { digest } = bench;
    if (shownDigest !== digest) {
      shownDigest = digest;
      step = 0;
      by('check-shown').replaceChildren();
    }
    if (step >= STEPS.length) return;
    const n = STEPS[step];
    by('check-said').textContent =
      step === 0 ? 'Plates are drawn and checked ...' : `So far from ${STEPS[step - 1].toLocaleString('en')} plates; going on to ${n.toLocaleString('en')} ...`;
    const answer = await engine.ask({ ask: 'check', about: about(), n_trials: n });
    if (answer === null || digest !== bench?.digest) return;
    if (answer.answer === 'refused') {
      by('check-said').textContent = answer.said;
      return;
    }
    step += 1;
    by('check-said').textContent = `From ${n.toLocaleString('en')} simulated plates.`;
    // Who has opened or scrolled to something stays there: only what is inside changes.
    by('check-shown').replaceChildren(
      answerBox(answer.shown, 'The answer'),
      el('p', {}, 'Where a command is named below: the room ', el('a', { href: '#readings' }, 'Readings'), ' is the sheet, and judges what is read.'),
      ...shown(answer.shown.parts),
      el('h2', {}, 'What was taken for granted'),
      el('details', {}, el('summary', {}, `${bench.assumed.length} figures that were assumed`), el('p', {}, 'These figures are assumed, since the setup does not say; each can be given under "More" of the plate and the check.'),
      el(
        'ul',
        { class: 'assumed' },
        bench.assumed.map((one) => el('li', {}, el('code', {}, one.field), `: ${one.value} (${one.why})`)),
      )),
    );
    by('check-shown').dataset.trials = n;
    refine();
  }

  function enterRoom() {
    if (!bench) {
      by('check-said').replaceChildren('First ', el('a', { href: '#plate' }, 'describe the plate and the check'), '.');
      by('check-shown').replaceChildren();
      shownDigest = null;
      return;
    }
    refine();
  }

  return { enter: enterRoom, setupChanged: () => room() === 'check' && enterRoom() };
})();
