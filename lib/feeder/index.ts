/** The feeder: model, inference, corrections, and where to read next. */
export { CaseFile } from './case-file';
export { CONTRADICTED, type Conflict, conflicts, loopFactors } from './conflicts';
export {
  type Correction as LabelCorrection,
  type CorrectionGroup,
  corrections,
  OFFERED,
  type SuspectSite,
  suspectSites,
} from './corrections';
export { CORRECTION_CAUTION, type Decision, decideCorrection, recordedAfter } from './decide';
export * from './evidence';
export { evidenceFrom, type FromRecords, isEvidence, tieFrom } from './from-records';
export { rotationEvidence } from './from-rotations';
export {
  acceptedAgainstDocument,
  type DocumentGroup,
  type DocumentLabel,
  offeredAgainstDocument,
} from './io/against-document';
export { type CimOptions, type CimPlaces, type CimRead, readFeederCim } from './io/cim';
export { type CimCorrections, cimCorrections, phaseCode } from './io/cim-corrections';
export { CIM_XML_OPTIONS, type ParseXml } from './io/cim-objects';
export { correctionsCsv } from './io/corrections-csv';
export { type FeederCsvOptions, readFeederCsv } from './io/csv';
export { writeFeederCsv } from './io/csv-write';
export { FeederSchema, readFeeder, readFeederJson } from './io/document';
export { type GeoJsonOptions, readFeederGeoJson } from './io/geojson';
export { type FeederGeoJson, traceGeoJson } from './io/geojson-write';
export { MeterBatchSchema, readMeterBatch } from './io/meter-batch';
export { readMeterCsv } from './io/meter-csv';
export { type PublishedOptions, type PublishedTables, readPublished } from './io/published';
export type { FeederRead } from './io/read';
export * from './meter-correlation';
export * from './meter-evidence';
export { type MeterSpan, MOST_STEPS, VoltageSteps } from './meter-steps';
export * from './model';
export type { MostProbable } from './most-probable';
export { type DayPlan, dayPlan, type NextBest, nextBest } from './next-best';
export { type PairFactor, pairFactor, type Stated, sameConductors } from './pair-factor';
export { changeName, PERMUTATIONS } from './permutation';
export {
  type EvidenceNear,
  evidenceNear,
  type FeederPicture,
  feederPicture,
  type SectionPicture,
  sectionPicture,
} from './picture';
export { bestProjection, explain, MOST_SETTINGS, type Solution, solve } from './solve';
export { ACCEPTED_DOUBT, type Standing, standing } from './standing';
export { CREDIBLE, SETTLED, type Suspect, suspects } from './suspects';
export { type SweepArrays, sweepArrays } from './sweep';
export * from './trace';
export * from './trace-record';
export { type DrawnTree, drawTree, LaneIndex, type TreeDrawing } from './tree-drawing';
export { unfedText } from './unfed';
export { type Visit, visitsOf } from './visits';
