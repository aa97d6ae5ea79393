// Types of data between the server and the pages, and between the parts of a page. Checked by tsc, never served.

// ---------------------------------------------------------------------------------------------------------------------
// The journal

interface Entry {
  id: string;
  machine: string;
  /** A code, or the id of the entry that opens the batch; null for that entry itself. */
  batch: string | null;
  kind: string;
  at_ms: number;
  by: { person?: string };
  /** By kind: see roastlog/journal. */
  body: Record<string, any>;
}

interface EntryResult {
  id: string;
  status: "stored" | "known" | "refused";
  reason?: string;
  notice?: string;
}

/** The basis of a time that was read from an inexact clock. */
interface ClockStamp {
  now_ms: number;
  wall_ms: number;
}

// ---------------------------------------------------------------------------------------------------------------------
// The outboxes

interface OutboxItem {
  id: string;
  entry: Entry;
  order?: number;
  stamp?: ClockStamp;
  refused?: string;
}

interface PhotoItem {
  id: string;
  text: string;
  data: ArrayBuffer;
  order?: number;
  refused?: string;
}

interface OutboxState {
  id: string;
  entry: Entry;
  state: "pressed" | "saved" | "sent" | "refused";
  result?: { reason?: string; notice?: string };
}

interface OutboxEvents {
  found: { entries: Entry[] };
  state: OutboxState;
  waiting: { count: number; refused: number; isDurable: boolean };
  trouble: { reason: string; status: unknown };
}

interface PhotoOutboxEvents {
  waiting: { count: number; refused: number };
  refused: { id: string; text: string; reason: string };
}

// ---------------------------------------------------------------------------------------------------------------------
// The live view: roastlog/recording/live_view.py

type Columns = Record<string, ArrayLike<number | null> & Iterable<number | null>>;

interface Channel {
  id: string;
  name: string;
  role: string;
  short: string;
  by_hand: boolean;
}

interface Control {
  id: string;
  name: string;
  unit: string;
  low: number;
  high: number;
  step: number;
  decimals: number;
  is_read: boolean;
}

interface BatchMoment {
  moment: string;
  label: string;
  at_ms: number;
  time_s: number | null;
  temp_c: number | null;
  entry: string;
}

interface LogLine {
  entry: string;
  kind: string;
  time_s: number | null;
  clock: string | null;
  text: string;
  temp_c: number | null;
  by: string | null;
  flags: string[];
  shiftable: boolean;
  photo: { name: string; here: boolean } | null;
}

/** The fields of an entry that the fold needs, with corrections applied: the server's part of the page's fold. */
interface Line {
  id: string;
  kind: string;
  at_ms: number;
  body: Record<string, any>;
}

interface BatchView {
  code: string;
  title: string;
  green_g: number | null;
  state: string;
  opened_entry: string | null;
  charged_at_ms: number | null;
  moments: BatchMoment[];
  settings: Record<string, number>;
  stage: string | null;
  expected: string | null;
  phase: string;
  plan: { development_s: number | null; development_ratio: number | null; drop_at_s: number | null };
  log: LogLine[];
  lines: Line[];
  chart: Record<"marks" | "checks" | "ribbon", Record<string, any>>;
}

interface ExpectedMoment {
  moment: string;
  label: string;
  time_s: number;
  low_s: number | null;
  high_s: number | null;
  basis: string;
  temp_c?: number | null;
  temp_low_c?: number | null;
  temp_high_c?: number | null;
  rate_c_per_min?: number | null;
  rate_low_c_per_min?: number | null;
  rate_high_c_per_min?: number | null;
  /** The moment's word within a sentence. */
  within: string;
}

interface Outlook {
  ahead: Omit<ExpectedMoment, "within">[];
  says: string;
  heads_up: { kind: string; start_s: number; text: string }[];
  suggestions: { moment: string; label: string; at_ms: number | null; text: string }[];
}

interface LinkView {
  name: string;
  state: string;
  reason: string | null;
}

interface MachineState {
  links: LinkView[];
  trouble?: string;
}

interface View extends MachineState {
  seq: number;
  now_ms: number;
  machine: { id: string; name: string; practice: boolean; bean: string };
  channels: Channel[];
  controls: Control[];
  batch: BatchView | null;
  waiting: { code: string; title: string }[];
  outlook: Outlook | null;
}

/** The `entry` event: changes of the view by a flush of entries. roastlog/recording/view_changes.py */
interface FlushEvent {
  entries: Entry[];
  after: number;
  seq: number;
  view: Partial<View>;
  batch: Partial<BatchView> | null;
  chart: Partial<BatchView["chart"]> | null;
  log: { lines: LogLine[]; gone: string[]; order: string[] | null } | null;
  lines: Line[];
}

interface ChannelRate {
  rate: number | null;
  error: number | null;
  state: "ok" | "settling" | "held";
}

interface Reading {
  at_ms: number;
  values: Record<string, number | null>;
  heard_ms?: Record<string, number>;
  rates?: Record<string, ChannelRate>;
  rows?: Columns;
}

/** The block `words` of the live page: roastlog/web/machine/live.py. */
interface PageWords {
  moments: Record<string, string>;
  moments_within: Record<string, string>;
  vigours: Record<string, string>;
  stages: Record<string, string>;
  expected: string[];
  under_way: string[];
  cooled_ms: number;
  aroma: { all: string[]; called: Record<string, string>; by_stage: Record<string, string[]> };
}

// ---------------------------------------------------------------------------------------------------------------------
// Parts of the live page

/** Displayed advice. */
interface AdviceLine {
  batch: string | null;
  word: string;
  kind: string;
  text: string;
  atS: number;
  atMs?: number | null;
  label?: string;
  aboutRate?: boolean;
}

/** An entry that the feedback shows: `latestId` is the entry whose progress is shown. */
interface Shown {
  undone: string;
  id: string;
  text: string;
  latestId: string;
  shiftedS: number;
}

// ---------------------------------------------------------------------------------------------------------------------
// Browser features that the libraries of tsc lack

declare const Bokeh: {
  embed: { embed_item(item: object, host: HTMLElement): Promise<Iterable<any>> };
  index: Iterable<any>;
};

/** A figure made by the server: roastlog/plot/drawing.py. */
interface Drawing {
  item: object;
  data: { sources: Record<string, [string, any][]>; ranges: Record<string, [number, number]> };
}

interface BokehDocument {
  all_models: Iterable<any>;
  get_model_by_name(name: string): any;
}

declare class BarcodeDetector {
  constructor(options: { formats: string[] });
  static getSupportedFormats(): Promise<string[]>;
  detect(source: CanvasImageSource): Promise<{ rawValue: string }[]>;
}

interface WorkerExtendableEvent extends Event {
  waitUntil(done: Promise<unknown>): void;
  readonly data: any;
  readonly tag: string;
}

interface WorkerFetchEvent extends WorkerExtendableEvent {
  readonly request: Request;
  readonly preloadResponse: Promise<Response | undefined>;
  respondWith(answer: Promise<Response>): void;
}

interface WorkerScope {
  registration: ServiceWorkerRegistration & { sync?: { register(tag: string): Promise<void> } };
  clients: { claim(): Promise<void> };
  skipWaiting(): Promise<void>;
  addEventListener(type: "fetch", act: (event: WorkerFetchEvent) => void): void;
  addEventListener(type: string, act: (event: WorkerExtendableEvent) => void): void;
}
