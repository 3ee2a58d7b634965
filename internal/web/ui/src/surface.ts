// A mesh of the server as three draws it: corners apart, so that each facet has its own colour, with
// normals smoothed over gentle edges and ink lines on sharp ones.
import { BufferAttribute, BufferGeometry, LineSegments, LineBasicMaterial } from 'three'

/** Edges that bend by more than this are drawn, and not smoothed over. */
const SHARP_COS = Math.cos((32 * Math.PI) / 180)

export interface Surface { geometry: BufferGeometry; edges: Float32Array; facets: number }

export function surface(positions: Float32Array, corners: Uint32Array): Surface {
  const n = corners.length / 3
  const pos = new Float32Array(9 * n)
  const flat = new Float32Array(3 * n) // area-weighted
  const unit = new Float32Array(3 * n)
  for (let f = 0; f < n; f++) {
    for (let c = 0; c < 3; c++) {
      const v = corners[3 * f + c]! * 3
      pos[9 * f + 3 * c] = positions[v]!
      pos[9 * f + 3 * c + 1] = positions[v + 1]!
      pos[9 * f + 3 * c + 2] = positions[v + 2]!
    }
    const o = 9 * f
    const ax = pos[o + 3]! - pos[o]!, ay = pos[o + 4]! - pos[o + 1]!, az = pos[o + 5]! - pos[o + 2]!
    const bx = pos[o + 6]! - pos[o]!, by = pos[o + 7]! - pos[o + 1]!, bz = pos[o + 8]! - pos[o + 2]!
    const x = ay * bz - az * by, y = az * bx - ax * bz, z = ax * by - ay * bx
    const l = Math.hypot(x, y, z) || 1
    flat.set([x, y, z], 3 * f)
    unit.set([x / l, y / l, z / l], 3 * f)
  }
  const around = facetsAround(corners, positions.length / 3)
  const normals = smoothed(corners, flat, unit, around)
  const geometry = new BufferGeometry()
  geometry.setAttribute('position', new BufferAttribute(pos, 3))
  geometry.setAttribute('normal', new BufferAttribute(normals, 3))
  geometry.setAttribute('color', new BufferAttribute(new Float32Array(9 * n).fill(1), 3))
  geometry.setAttribute('striped', new BufferAttribute(new Float32Array(3 * n), 1))
  return { geometry, edges: sharpEdges(positions, corners, unit, around), facets: n }
}

interface Around { start: Uint32Array; list: Uint32Array }

function facetsAround(corners: Uint32Array, verts: number): Around {
  const start = new Uint32Array(verts + 1)
  for (const v of corners) start[v + 1]!++
  for (let v = 0; v < verts; v++) start[v + 1]! += start[v]!
  const fill = start.slice()
  const list = new Uint32Array(corners.length)
  for (let c = 0; c < corners.length; c++) list[fill[corners[c]!]!++] = Math.floor(c / 3)
  return { start, list }
}

function smoothed(corners: Uint32Array, flat: Float32Array, unit: Float32Array, around: Around): Float32Array {
  const out = new Float32Array(3 * corners.length)
  for (let c = 0; c < corners.length; c++) {
    const f = 3 * Math.floor(c / 3)
    const v = corners[c]!
    let x = 0, y = 0, z = 0
    for (let k = around.start[v]!; k < around.start[v + 1]!; k++) {
      const g = 3 * around.list[k]!
      if (unit[f]! * unit[g]! + unit[f + 1]! * unit[g + 1]! + unit[f + 2]! * unit[g + 2]! < SHARP_COS) continue
      x += flat[g]!
      y += flat[g + 1]!
      z += flat[g + 2]!
    }
    const l = Math.hypot(x, y, z) || 1
    out[3 * c] = x / l
    out[3 * c + 1] = y / l
    out[3 * c + 2] = z / l
  }
  return out
}

function sharpEdges(positions: Float32Array, corners: Uint32Array, unit: Float32Array, around: Around): Float32Array {
  const lines: number[] = []
  const n = corners.length / 3
  for (let f = 0; f < n; f++) {
    for (let c = 0; c < 3; c++) {
      const a = corners[3 * f + c]!, b = corners[3 * f + ((c + 1) % 3)]!
      if (a > b) continue // the other facet draws it
      for (let k = around.start[a]!; k < around.start[a + 1]!; k++) {
        const g = around.list[k]!
        if (g === f || (corners[3 * g] !== b && corners[3 * g + 1] !== b && corners[3 * g + 2] !== b)) continue
        const cos = unit[3 * f]! * unit[3 * g]! + unit[3 * f + 1]! * unit[3 * g + 1]! + unit[3 * f + 2]! * unit[3 * g + 2]!
        if (cos < SHARP_COS) {
          for (const v of [a, b]) lines.push(positions[3 * v]!, positions[3 * v + 1]!, positions[3 * v + 2]!)
          break
        }
      }
    }
  }
  return new Float32Array(lines)
}

export function inkLines(edges: Float32Array, material: LineBasicMaterial): LineSegments {
  const g = new BufferGeometry()
  g.setAttribute('position', new BufferAttribute(edges, 3))
  return new LineSegments(g, material)
}
