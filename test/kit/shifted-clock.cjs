// Loaded before Node-RED: shifts Date by the milliseconds that stand in the file CLOCK_FILE, whenever they change.
const { readFileSync } = require('node:fs');

const RealDate = Date;
let shiftMs = 0;
setInterval(() => {
  try {
    shiftMs = Number(readFileSync(process.env.CLOCK_FILE, 'utf8')) || 0;
  } catch {
    // not yet there
  }
}, 50).unref();

globalThis.Date = class extends RealDate {
  constructor(...given) {
    if (given.length === 0) super(RealDate.now() + shiftMs);
    else super(...given);
  }
  static now() {
    return RealDate.now() + shiftMs;
  }
};
