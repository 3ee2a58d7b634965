package main

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/bench/corpus"
	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"
	"mouldwright/internal/tooling"
)

// exitLeansDeg are the angles between the way a piece is asked to leave and its own.
var exitLeansDeg = []float64{0, 0.5, 3, 15, 90, 180}

// bodies are two of a finished mould that touch, with the way the moving one leaves.
type bodies struct {
	name          string
	moving, fixed *mesh.Mesh
	exit          r3.Vec
}

// pieces asks of moulds as built whether piece leaves piece, or casting, the way it should, and others.
func pieces(ctx context.Context, pool *solid.Pool, m *maker, moulded []string, lanternToo bool, count int) ([]pair, error) {
	var all []bodies
	for _, name := range moulded {
		s, err := named(m.specimens, name)
		if err != nil {
			return nil, err
		}
		found, err := rigidHalves(ctx, pool, name, s.Mesh, tooling.TwoHalfOptions{Direction: r3.Vec{Z: 1}, Bolt: tooling.NoBolts})
		if err != nil {
			return nil, err
		}
		all = append(all, found...)
	}
	if lanternToo {
		foot := lantern.FootRing()
		found, err := rigidHalves(ctx, pool, "foot ring", foot.Mesh, tooling.TwoHalfOptions{Direction: r3.Vec{Z: 1}, Show: foot.Show()})
		if err != nil {
			return nil, err
		}
		all = append(all, found...)
		if found, err = insertPieces(ctx, pool); err != nil {
			return nil, err
		}
		all = append(all, found...)
	}
	var out []pair
	for i := range count {
		b := all[i%len(all)]
		lean := exitLeansDeg[(i/len(all)+i)%len(exitLeansDeg)]
		out = append(out, pair{Kind: "mould piece", Name: b.name, Moving: b.moving, Fixed: b.fixed, D: m.tilted(b.exit, lean), Barely: lean == 0.5})
	}
	return out, nil
}

func named(list []corpus.Specimen, name string) (*corpus.Specimen, error) {
	for i := range list {
		if list[i].Name == name {
			return &list[i], nil
		}
	}
	return nil, fmt.Errorf("%s is not in the corpus", name)
}

func rigidHalves(ctx context.Context, pool *solid.Pool, name string, part *mesh.Mesh, opt tooling.TwoHalfOptions) ([]bodies, error) {
	mould, err := tooling.TwoHalves(ctx, pool, part, opt)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	up := r3.Vec{Z: 1}
	lower, upper := mould.Pieces[0].Mesh, mould.Pieces[1].Mesh
	return []bodies{
		{name + ": upper half off lower half", upper, lower, up},
		{name + ": casting out of lower half", mould.Cast, lower, up},
		{name + ": upper half off casting", upper, mould.Cast, up},
	}, nil
}

// insertPieces are those of the bumper cap's insert, in the state in which each two touch.
func insertPieces(ctx context.Context, pool *solid.Pool) ([]bodies, error) {
	part := lantern.BumperCap()
	in, err := tooling.BuildInsert(ctx, pool, part.Mesh, tooling.InsertOptions{Show: part.Show(),
		Casting: &opening.Flex{ElongationPct: 400, ShoreA: 60}, Silicone: &opening.Flex{ElongationPct: 400, ShoreA: 28}})
	if err != nil {
		return nil, err
	}
	piece := map[string]*mesh.Mesh{}
	for _, p := range in.Pieces {
		piece[p.Name] = p.Mesh
	}
	up := r3.Vec{Z: 1}
	return []bodies{
		{"bumper cap: pattern cap off cradle", piece[tooling.PatternCap], piece[tooling.Cradle], up},
		{"bumper cap: casting cap off insert", piece[tooling.CastingCap], piece[tooling.InsertBody], up},
		{"bumper cap: casting cap off casting", piece[tooling.CastingCap], in.Part, up},
		{"bumper cap: casting out of insert", in.Part, piece[tooling.InsertBody], up},
	}, nil
}
