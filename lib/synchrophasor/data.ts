/** Data frames. They say nothing of their own layout: the configuration does. */
import { Fault, Reader, Writer } from './bytes';
import { HEAD_BYTES, readHead, sealed, writeHead } from './head';
import type { ConfigFrame, DataFrame, PmuConfig, PmuData } from './types';

/** Bytes of one PMU in a data frame. */
function pmuBytes({ format: f, phasors, analogs, digitals }: PmuConfig): number {
  const frequency = f.floatFrequency ? 8 : 4;
  return (
    2 +
    phasors.length * (f.floatPhasors ? 8 : 4) +
    frequency +
    analogs.length * (f.floatAnalogs ? 4 : 2) +
    2 * digitals.length
  );
}

/** Length of the data frames of a configuration, bytes. */
export const dataFrameBytes = (config: ConfigFrame): number =>
  HEAD_BYTES + config.pmus.reduce((sum, pmu) => sum + pmuBytes(pmu), 0) + 2;

/** @param bytes a frame whose size and check word hold */
export function readData(bytes: Uint8Array, config: ConfigFrame): DataFrame {
  const head = readHead(new Reader(bytes, 4, HEAD_BYTES));
  if (head.idCode !== config.idCode) {
    throw new Fault(
      '/idCode',
      'stream-unknown',
      `the data frame is of stream ${head.idCode}`,
      `${config.idCode}, the stream of the configuration`,
    );
  }
  const expected = dataFrameBytes(config);
  if (bytes.length !== expected) {
    throw new Fault(
      '/frameSize',
      'data-not-of-configuration',
      `the data frame has ${bytes.length} bytes`,
      `${expected} bytes, after the configuration`,
    );
  }
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const pmus: PmuData[] = [];
  let at = HEAD_BYTES;
  for (const pmu of config.pmus) {
    pmus.push(readPmu(view, at, pmu));
    at += pmuBytes(pmu);
  }
  return { type: 'data', version: head.version, idCode: head.idCode, time: head.time, pmus };
}

function readPmu(view: DataView, start: number, pmu: PmuConfig): PmuData {
  const { isPolar, floatPhasors, floatAnalogs, floatFrequency } = pmu.format;
  let at = start + 2;
  const phasors: number[] = [];
  for (let i = 0; i < pmu.phasors.length; i++) {
    if (floatPhasors) phasors.push(view.getFloat32(at), view.getFloat32(at + 4));
    else phasors.push(isPolar ? view.getUint16(at) : view.getInt16(at), view.getInt16(at + 2));
    at += floatPhasors ? 8 : 4;
  }
  const frequency = floatFrequency ? view.getFloat32(at) : view.getInt16(at);
  const frequencyRate = floatFrequency ? view.getFloat32(at + 4) : view.getInt16(at + 2);
  at += floatFrequency ? 8 : 4;
  const analogs: number[] = [];
  for (let i = 0; i < pmu.analogs.length; i++, at += floatAnalogs ? 4 : 2) {
    analogs.push(floatAnalogs ? view.getFloat32(at) : view.getInt16(at));
  }
  const digitals: number[] = [];
  for (let i = 0; i < pmu.digitals.length; i++, at += 2) digitals.push(view.getUint16(at));
  return { stat: view.getUint16(start), phasors, frequency, frequencyRate, analogs, digitals };
}

/** @throws RangeError when the frame does not have the channels of the configuration */
export function encodeData(frame: DataFrame, config: ConfigFrame): Uint8Array {
  const writer = new Writer();
  writeHead(writer, 'data', frame);
  config.pmus.forEach((pmu, i) => {
    writePmu(writer, pmu, frame.pmus[i]);
  });
  return sealed(writer);
}

function writePmu(writer: Writer, pmu: PmuConfig, data: PmuData | undefined): void {
  const { floatPhasors, floatAnalogs, floatFrequency } = pmu.format;
  if (
    data?.phasors.length !== 2 * pmu.phasors.length ||
    data.analogs.length !== pmu.analogs.length ||
    data.digitals.length !== pmu.digitals.length
  ) {
    throw new RangeError(`the data of PMU ${pmu.station} do not have the channels of its configuration`);
  }
  writer.u16(data.stat);
  for (const x of data.phasors) floatPhasors ? writer.f32(x) : writer.u16(x);
  for (const x of [data.frequency, data.frequencyRate]) floatFrequency ? writer.f32(x) : writer.u16(x);
  for (const x of data.analogs) floatAnalogs ? writer.f32(x) : writer.u16(x);
  for (const x of data.digitals) writer.u16(x);
}
