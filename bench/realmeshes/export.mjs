// Writes the meshes that npm packages hold, or make, as OBJ files into a folder:
//
//   node export.mjs OUTDIR
//
// Coordinates are written with six decimals, as mesh programs commonly do: generators close a round
// by computing its seam twice, and the two results differ in the last bits of a float.
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import bunny from "bunny";
import icosphere from "icosphere";
import primitiveCapsule from "primitive-capsule";
import primitiveTorus from "primitive-torus";
import * as three from "three";
import { RoundedBoxGeometry } from "three/examples/jsm/geometries/RoundedBoxGeometry.js";
import { TeapotGeometry } from "three/examples/jsm/geometries/TeapotGeometry.js";

const fixed = (x) => {
  const s = x.toFixed(6);
  return s === "-0.000000" ? "0.000000" : s;
};

function objText(positions, cells) {
  const v = positions.map((p) => `v ${fixed(p[0])} ${fixed(p[1])} ${fixed(p[2])}\n`);
  const f = cells.map((c) => `f ${c[0] + 1} ${c[1] + 1} ${c[2] + 1}\n`);
  return v.join("") + f.join("");
}

const triples = (flat) => {
  const out = [];
  for (let i = 0; i < flat.length; i += 3) out.push([flat[i], flat[i + 1], flat[i + 2]]);
  return out;
};

const ofGeometry = (g) => {
  const at = g.getAttribute("position");
  const index = g.index ? g.index.array : Array.from({ length: at.count }, (_, i) => i);
  return objText(triples(at.array), triples(index));
};

// Some packages give flat arrays, some arrays of triples.
const ofArrays = (m) =>
  Array.isArray(m.cells[0])
    ? objText(m.positions, m.cells)
    : objText(triples(m.positions), triples(m.cells));

const meshes = {
  bunny: () => ofArrays(bunny),
  icosphere: () => ofArrays(icosphere(3)),
  "primitive-capsule": () => ofArrays(primitiveCapsule()),
  "primitive-torus": () => ofArrays(primitiveTorus()),
  "three-torus-knot": () => ofGeometry(new three.TorusKnotGeometry(30, 8, 160, 16)),
  "three-torus-knot-3-5": () => ofGeometry(new three.TorusKnotGeometry(30, 4, 200, 12, 3, 5)),
  "three-dodecahedron": () => ofGeometry(new three.DodecahedronGeometry(30, 0)),
  "three-octahedron": () => ofGeometry(new three.OctahedronGeometry(30, 4)),
  "three-cone": () => ofGeometry(new three.ConeGeometry(20, 40, 48, 4)),
  "three-cylinder": () => ofGeometry(new three.CylinderGeometry(15, 20, 30, 64, 3)),
  "three-sphere": () => ofGeometry(new three.SphereGeometry(25, 48, 32)),
  "three-rounded-box": () => ofGeometry(new RoundedBoxGeometry(60, 40, 30, 6, 5)),
  "three-teapot": () => ofGeometry(new TeapotGeometry(30, 6)),
};

const dir = process.argv[2];
if (!dir) {
  console.error("usage: node export.mjs OUTDIR");
  process.exit(2);
}
for (const [name, text] of Object.entries(meshes)) writeFileSync(join(dir, name + ".obj"), text());
