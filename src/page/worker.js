// The engine inside a worker: unpacks the module, and answers one question after the other.
let engine;

async function unpacked(packed) {
  const letters = atob(packed);
  const bytes = new Uint8Array(letters.length);
  for (let i = 0; i < letters.length; i += 1) bytes[i] = letters.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('gzip'));
  return WebAssembly.compile(await new Response(stream).arrayBuffer());
}

function answer(question) {
  const bytes = new TextEncoder().encode(question);
  const room = engine.question_room(bytes.length);
  new Uint8Array(engine.memory.buffer, room, bytes.length).set(bytes);
  const length = engine.answer_question();
  // The memory may have grown in the meantime.
  return new TextDecoder().decode(new Uint8Array(engine.memory.buffer, engine.answer_place(), length));
}

addEventListener('message', async ({ data }) => {
  try {
    if (data.ask !== undefined) {
      postMessage({ answer: answer(data.ask), memory: engine.memory.buffer.byteLength });
      return;
    }
    const module = data.module ?? (await unpacked(data.packed));
    engine = (await WebAssembly.instantiate(module, {})).exports;
    postMessage({ module });
  } catch (error) {
    postMessage({ failed: String(error) });
  }
});
