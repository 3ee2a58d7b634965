// The server's HTTP API; docs/api.md describes it.

import { at, call, json, type Place } from './http'
export { ApiError, type Place } from './http'

export type Vec = [number, number, number]

export interface Task {
  id: string
  job: string
  kind: 'judge' | 'build' | 'compare'
  state: 'waiting' | 'running' | 'done' | 'refused' | 'stopped' | 'failed'
  stage: string
  share: number
  error?: string
  seconds: number
}

export interface Settings {
  part?: { name?: string; file?: string; unit?: string; object?: string }
  show?: { colours?: string[]; grow_deg?: number; pick?: { at: Vec; grow_deg: number }[]; towards?: { direction: Vec; within_deg: number }[]; box?: { min: Vec; max: Vec }[] }
  opening?: { direction?: Vec; min_draft_deg?: number }
  material?: { id?: string; pigment?: string; pigment_pct?: number }
  mould?: Record<string, number | string>
  [table: string]: unknown
}

export interface Job {
  id: string
  name: string
  changed: string
  tag: string
  settings: Settings | null
  bad?: { detail: string; place?: Place }
  task?: Task
  has_report: boolean
  refused: boolean
  stale: boolean
  notice?: string
}

export interface UploadObject { name: string; facets: number; size: Vec; colours: string[] }
export interface Upload { upload: string; file: string; unit: string; unit_known: boolean; objects: UploadObject[]; notes: string[] }

export interface Intake { facets: number; volume_mm3: number; area_mm2: number; notes: string[]; fatal?: string }

export interface Undercut {
  area_mm2: number
  volume_mm3: number
  depth_mm: number | null
  depth_error_mm: number
  sealed: boolean
  holds: string
  facets: number
  centroid_mm: Vec
  low_mm: Vec
  high_mm: Vec
}

export interface Candidate { direction: Vec; origin: string; score: number; terms: { name: string; points: number; words: string }[] }

export interface Judgement {
  direction: Vec
  asked: boolean
  opens: boolean
  fresh: boolean
  candidates: Candidate[]
  min_draft_deg: number
  draft_asked_deg: number
  height_mm: number
  undercut_area_mm2: number
  undercuts: Undercut[]
  parting_line_mm: number
  parting_line_on_show_mm: number
  tolerance_mm: number
}

export interface Reason { what: string; words: string; at_mm?: Vec; remedy?: string }
export interface Check { name: string; ok: boolean; value: number | null; limit: number; unit: string; words: string }

export interface Shot {
  material_name: string
  typical_values: boolean
  uses: { name: string; ml: number; g: number }[]
  components: { name: string; g: number; ml: number }[]
  pigments?: { name: string; g: number; of: string; pct_weighed: number }[]
  mix_ml: number
  mix_g: number
  scale_step_g: number
  ratio_error_pct: number
  ratio_tolerance_pct: number
  mixed_density: { g_per_ml: number; error_pct: number }
  pot_life?: { s: number; at_c: number }
  warnings?: string[]
  cautions?: string[]
}

export interface Way {
  rank: number
  key: string
  name: string
  family?: string
  opens: boolean
  basis: 'proven' | 'estimated' | 'tried'
  verdict: string
  reasons: string[]
  flash_mm: number
  show_flash_mm: number
  print_ml: number
  silicone_ml: number
  volume_error_pct: number
  one_time_pours: number
  cycle_h: number
  typical_shots: number
  moulds: number
  shots: number
  cost: { total: number; per_part: number; error_pct: number }
}

export interface Comparison { best: string; why: string; batch: number; prices: { currency?: string; typical: boolean }; ways: Way[]; change?: { name: string; words: string }; no_change?: string }

export interface Spot { X: number; Y: number; Z: number }
export interface Closing { hinge: { name: string; At: Spot; Along: Spot }; from_deg: number; trapped_mm3: number; error_mm3: number; over_mm3: number; meets_mm3: number; meets_deg: number; words: string }
export interface Lid { liquid_ml: number; holds_ml: number; cavity_ml: number; pour_tolerance_pct: number; picture: string; advice: string[]; comparison: { closings: Closing[]; best: number } }

export interface Filled { words?: string[]; pockets?: { volume_mm3: number; error_mm3: number; words: string }[] | null }

export interface Report {
  refused: boolean
  reasons?: Reason[]
  part: { name: string }
  directions?: { direction: Vec; ok: boolean; words: string; flat_split?: string }[] | null
  mould?: {
    family: string
    block_mm: Vec
    parting_line_mm: number
    parting_loops: number
    parting_line_on_show_mm: number
    pieces: { name: string; facets: number; volume_mm3: number; size_mm: Vec; exit: Vec; poured: boolean }[]
    features: { name: string; kind: string; piece: string; at_mm: Vec; words: string }[]
    ledger: { name: string; volume_mm3: number; solid: boolean }[]
    checks: Check[]
    opening: string
    stages?: string[]
  }
  shot?: Shot
  pours?: { piece: string; in: string[]; ml: number; file: string; shot: Shot }[]
  fill?: { flat?: Filled; tilted?: Filled | null; tilt?: { tilt_deg: number }; vents_again?: { words: string } | null; words?: string[] }
  files?: string[]
  warnings?: string[]
}

export const api = {
  health: () => json<{ version: string; token_needed: boolean }>('GET', '/api/health'),
  signIn: (token: string) => call('POST', '/api/session', { token }),
  jobs: () => json<Job[]>('GET', '/api/jobs'),
  job: (id: string) => json<Job>('GET', at(id)),
  upload: (file: File) => json<Upload>('POST', `/api/uploads?name=${encodeURIComponent(file.name)}`, file),
  create: (j: { upload?: string; demo?: string; name?: string; unit?: string; object?: string; material?: string; colours?: string[] }) => json<Job>('POST', '/api/jobs', j),
  demo: () => json<{ name: string; words: string }[]>('GET', '/api/demo'),
  materials: () => json<{ id: string; name: string }[]>('GET', '/api/materials'),
  report: (id: string) => json<Report>('GET', `${at(id)}/report`),
  intake: (id: string) => json<Intake>('GET', `${at(id)}/intake`),
  judgement: (id: string) => json<Judgement>('GET', `${at(id)}/judgement`),
  comparison: (id: string) => json<{ fresh: boolean; comparison: Comparison }>('GET', `${at(id)}/comparison`),
  lid: (id: string) => json<Lid>('POST', `${at(id)}/lid`, { angles_deg: [0, 20] }),
  families: () => json<{ name: string; words: string }[]>('GET', '/api/families'),
  decisions: (id: string) => json<{ tag: string; text: string }>('GET', `${at(id)}/decisions`),
  putDecisions: (id: string, tag: string, text: string) => json<Job>('PUT', `${at(id)}/decisions`, { tag, text }),
  set: (id: string, set: Record<string, unknown>) => json<Job>('PATCH', `${at(id)}/decisions`, { set }),
  pick: (id: string, point: Vec) => json<Job>('POST', `${at(id)}/show/pick`, { at: point }),
  removeRule: (id: string, kind: string, index: number) => json<Job>('POST', `${at(id)}/show/remove`, { kind, index }),
  addTowards: (id: string, direction: Vec, within: number) => json<Job>('POST', `${at(id)}/show/towards`, { direction, within_deg: within }),
  start: (id: string, kind: Task['kind']) => json<Task>('POST', `${at(id)}/tasks`, { kind }),
  cancel: (task: string) => call('DELETE', `/api/tasks/${task}`),
  pack: async (id: string, name: string) => unpack(await (await call('GET', `${at(id)}/${name}.bin`)).arrayBuffer()),
  file: (id: string, name: string, download = false) => `${at(id)}/out/${name.split('/').map(encodeURIComponent).join('/')}${download ? '?download' : ''}`,
}

/** Follows a task until it ends. */
export function watch(task: string, onState: (t: Task) => void): () => void {
  const source = new EventSource(`/api/tasks/${task}/events`)
  source.addEventListener('state', (e) => {
    const t = JSON.parse((e as MessageEvent<string>).data) as Task
    if (over(t)) source.close()
    onState(t)
  })
  source.addEventListener('gone', () => {
    source.close()
    onState({ id: task, job: '', kind: 'judge', state: 'failed', stage: 'failed', share: 0, seconds: 0, error: 'the server was started anew; start this again' })
  })
  return () => source.close()
}

export const over = (t: Task) => t.state !== 'waiting' && t.state !== 'running'

export type Numbers = Float32Array | Uint32Array | Int16Array | Uint16Array | Uint8Array
export interface Pack { meta: Record<string, unknown>; arrays: Map<string, Numbers> }

/** Reads the server's binary form of geometry; see pack.go. */
export function unpack(b: ArrayBuffer): Pack {
  const view = new DataView(b)
  const n = view.getUint32(4, true)
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(b, 8, n))) as { meta: Record<string, unknown>; arrays: { name: string; type: string; at: number; count: number }[] }
  const arrays = new Map<string, Numbers>()
  for (const a of head.arrays) {
    const off = 8 + n + a.at
    switch (a.type) {
      case 'f32': arrays.set(a.name, new Float32Array(b, off, a.count)); break
      case 'u32': arrays.set(a.name, new Uint32Array(b, off, a.count)); break
      case 'i16': arrays.set(a.name, new Int16Array(b, off, a.count)); break
      case 'u16': arrays.set(a.name, new Uint16Array(b, off, a.count)); break
      default: arrays.set(a.name, new Uint8Array(b, off, a.count))
    }
  }
  return { meta: head.meta, arrays }
}
