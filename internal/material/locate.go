package material

import "github.com/pelletier/go-toml/v2/unstable"

// places holds where each key of a material file stands, so that a value which is good TOML but
// makes no sense can be pointed at. The decoder itself only gives places for its own errors.
type places map[place]unstable.Position

type place struct {
	entry int // material, from 0
	field field
}

// locate walks the expressions of a material file and notes the place of every key, and of each
// [[material]] and [[material.component]] header under the key "".
func locate(data []byte) (places, error) {
	at := places{}
	var p unstable.Parser
	p.Reset(data)
	entry, comp := -1, 0
	for p.NextExpression() {
		e := p.Expression()
		keys, pos := keyPath(&p, e)
		switch e.Kind {
		case unstable.ArrayTable, unstable.Table:
			switch {
			case len(keys) == 1 && e.Kind == unstable.ArrayTable:
				entry, comp = entry+1, 0
				at[place{entry, field{0, ""}}] = pos
			case len(keys) == 2 && e.Kind == unstable.ArrayTable:
				comp++
				at[place{entry, field{comp, ""}}] = pos
			case len(keys) == 2: // [material.pot_life]
				at[place{entry, field{0, keys[1]}}] = pos
			}
		case unstable.KeyValue:
			if len(keys) > 0 {
				at[place{entry, field{comp, keys[0]}}] = pos
			}
		}
	}
	return at, p.Error()
}

// keyPath is the dotted key of an expression and the place of its first part.
func keyPath(p *unstable.Parser, e *unstable.Node) ([]string, unstable.Position) {
	var keys []string
	var pos unstable.Position
	for it := e.Key(); it.Next(); {
		n := it.Node()
		if len(keys) == 0 {
			pos = p.Shape(n.Raw).Start
		}
		keys = append(keys, string(n.Data))
	}
	return keys, pos
}

// find is the line and column of a field of entry i, or of what holds it when it is missing.
func (at places) find(i int, f field) (line, column int) {
	for _, try := range []field{f, {f.comp, ""}, {0, ""}} {
		if pos, ok := at[place{i, try}]; ok {
			return pos.Line, pos.Column
		}
	}
	return 1, 1
}
