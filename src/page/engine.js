// The way to the engine: a worker inside this page, or the program that serves it. One question at a time. Long work is given up for
// whatever is asked next; a question that waits is dropped for a newer one of its kind. What was given up is answered by null.

const engine = (() => {
  const packed = by('module').textContent.trim();
  const LONG = ['check', 'judge'];
  let waiting = [];
  let running = null;
  let module = null;
  let worker = null;
  let memory = 0;

  function startWorker() {
    const code = new Blob([by('worker').textContent], { type: 'text/javascript' });
    const started = new Worker(URL.createObjectURL(code));
    worker = new Promise((ready) => {
      started.addEventListener('message', ({ data }) => {
        if (data.module) {
          module = data.module;
          ready(started);
        } else if (data.failed) {
          ready(started);
          finish(failure(data.failed));
          started.terminate();
          startWorker();
        } else {
          memory = data.memory;
          finish(JSON.parse(data.answer));
        }
      });
    });
    started.postMessage(module ? { module } : { packed });
    worker.started = started;
  }

  const failure = (why) => ({ answer: 'refused', said: `the engine stopped: ${why}`, faults: [] });

  function finish(answer) {
    const done = running;
    running = null;
    done?.resolve(answer);
    next();
  }

  async function next() {
    if (running || waiting.length === 0) return;
    running = waiting.shift();
    const mine = running;
    const question = JSON.stringify(running.question);
    if (packed) {
      const ready = await worker;
      if (running === mine) ready.postMessage({ ask: question });
      return;
    }
    const control = new AbortController();
    running.control = control;
    let answer = null;
    try {
      const response = await fetch('ask', {
        method: 'POST',
        headers: { 'Content-Type': 'application/json' },
        body: question,
        signal: control.signal,
      });
      if (response.ok) answer = await response.json();
      else if (response.status !== 409) answer = failure((await response.text()).trim());
    } catch (error) {
      if (!control.signal.aborted) answer = failure('the program that served this page is gone; start howflat page again');
    }
    if (running === mine) finish(answer);
  }

  function giveUp() {
    const given = running;
    running = null;
    if (packed) {
      worker.started.terminate();
      startWorker();
    } else {
      given.control?.abort();
    }
    given.resolve(null);
  }

  if (packed) startWorker();

  return {
    inside: packed !== '',
    memory: () => memory,
    ask(question) {
      return new Promise((resolve) => {
        waiting = waiting.filter((other) => {
          const isOlder = other.question.ask === question.ask;
          if (isOlder) other.resolve(null);
          return !isOlder;
        });
        waiting.push({ question, resolve });
        if (running && (LONG.includes(running.question.ask) || (running.question.ask === question.ask && question.ask === 'report'))) giveUp();
        next();
      });
    },
  };
})();
