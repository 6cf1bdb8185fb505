// What was said in recordings without a text, by Moonshine tiny (Useful Sensors, MIT licence), for people.py.
//
// node transcribe.mjs FOLDER < FILES > TEXTS.tsv, in a folder where these were installed:
//   npm install onnxruntime-node@1.20.1 llama-tokenizer-js @usefulsensors/moonshine-js
// FILES: names below FOLDER, one a line. A line out: file, seconds, mean log probability of its tokens, their count, text.
import { execFileSync } from "node:child_process";
import fs from "node:fs";
import ort from "onnxruntime-node";
import tokens from "llama-tokenizer-js";

const MODEL = "node_modules/@usefulsensors/moonshine-js/dist/model/tiny/quantized/";
const LAYERS = 6, HEADS = 8, WIDTH = 36, BEGIN = 1, END = 2, RATE = 16000, MOST = 6.5; // tokens a second
const open = (name) => ort.InferenceSession.create(MODEL + name, { intraOpNumThreads: 1 });
const encoder = await open("encoder_model.onnx"), decoder = await open("decoder_model_merged.onnx");
const tensor = (type, data, shape) => new ort.Tensor(type, data, shape);

// samples is a recording at 16 kHz, its loudest at one half.
function samples(path) {
  const command = path.endsWith(".opus") ? ["opusdec", ["--quiet", "--rate", "16000", path, "-"]] : ["sox", [path, "-r", "16000", "-c", "1", "-t", "s16", "-"]];
  const raw = execFileSync(...command, { maxBuffer: 1 << 28 });
  const x = Float32Array.from({ length: raw.length >> 1 }, (_, i) => raw.readInt16LE(2 * i) / 32768);
  const most = x.reduce((a, b) => Math.max(a, Math.abs(b)), 0.01);
  return x.map((v) => (v * 0.5) / most);
}

// likeliest is the best token and its log probability.
function likeliest(logits) {
  let best = 0, sum = 0;
  for (let i = 1; i < logits.length; i++) if (logits[i] > logits[best]) best = i;
  for (const v of logits) sum += Math.exp(v - logits[best]);
  return [best, -Math.log(sum)];
}

async function hear(x) {
  const state = (await encoder.run({ input_values: tensor("float32", x, [1, x.length]) })).last_hidden_state;
  const past = {};
  for (let i = 0; i < LAYERS; i++)
    for (const side of ["decoder", "encoder"]) for (const kind of ["key", "value"]) past[`past_key_values.${i}.${side}.${kind}`] = tensor("float32", [], [0, HEADS, 1, WIDTH]);
  const said = [];
  let next = BEGIN, sure = 0, n = 0;
  while (next !== END && n < (x.length / RATE) * MOST + 2) {
    const out = await decoder.run({ input_ids: tensor("int64", [BigInt(next)], [1, 1]), encoder_hidden_states: state, use_cache_branch: tensor("bool", [n > 0]), ...past });
    let p;
    [next, p] = likeliest(out.logits.data);
    sure += p; n++;
    said.push(next);
    for (const k in past) if (n === 1 || k.includes("decoder")) past[k] = out[k.replace("past_key_values", "present")];
  }
  return [(x.length / RATE).toFixed(2), (sure / n).toFixed(3), n, tokens.decode([BEGIN, ...said.filter((t) => t !== END)]).trim()];
}

for (const file of fs.readFileSync(0, "utf8").trim().split("\n")) {
  try {
    console.log([file, ...(await hear(samples(process.argv[2] + "/" + file)))].join("\t"));
  } catch (e) {
    console.error(`${file}: ${e}`);
  }
}
