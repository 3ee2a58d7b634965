package web

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
)

// pack is the compact form in which geometry goes to the browser, all little-endian:
//
//	"MWG1", uint32 length of the header, header (JSON, padded with spaces to 8 bytes), arrays
//
// The header is {"meta": …, "arrays": [{"name", "type", "at", "count"}]}, at counted from the end of
// the header and a multiple of 8. Types: "f32", "u32", "i16", "u16", "u8".
type pack struct {
	Meta   any         `json:"meta"`
	Arrays []packArray `json:"arrays"`
	body   bytes.Buffer
}

type packArray struct {
	Name  string `json:"name"`
	Type  string `json:"type"`
	At    int    `json:"at"`
	Count int    `json:"count"`
}

const packMagic = "MWG1"

func add[T float32 | uint32 | int16 | uint16 | uint8](p *pack, name string, values []T) {
	var kind string
	switch any(*new(T)).(type) {
	case float32:
		kind = "f32"
	case uint32:
		kind = "u32"
	case int16:
		kind = "i16"
	case uint16:
		kind = "u16"
	case uint8:
		kind = "u8"
	}
	p.Arrays = append(p.Arrays, packArray{name, kind, p.body.Len(), len(values)})
	size := binary.Size(values)
	p.body.Grow(size + 8)
	b, _ := binary.Append(p.body.AvailableBuffer(), binary.LittleEndian, values) // numbers never fail
	p.body.Write(b)
	for p.body.Len()%8 != 0 {
		p.body.WriteByte(0)
	}
}

func (p *pack) bytes() ([]byte, error) {
	head, err := json.Marshal(p)
	if err != nil {
		return nil, fmt.Errorf("pack geometry: %w", err)
	}
	for (8+len(head))%8 != 0 {
		head = append(head, ' ')
	}
	out := make([]byte, 0, 8+len(head)+p.body.Len())
	out = append(out, packMagic...)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(head)))
	out = append(out, head...)
	return append(out, p.body.Bytes()...), nil
}

// packRead is a pack that was read; its arrays lie in the bytes it was read from.
type packRead struct {
	meta   json.RawMessage
	arrays map[string]packArray
	body   []byte
}

var errNoPack = errors.New("this is no packed geometry")

// unpacked reads a pack. It trusts nothing in it.
func unpacked(b []byte) (*packRead, error) {
	if len(b) < 8 || string(b[:4]) != packMagic {
		return nil, errNoPack
	}
	n := int64(binary.LittleEndian.Uint32(b[4:]))
	if n > int64(len(b)-8) {
		return nil, errNoPack
	}
	var head struct {
		Meta   json.RawMessage `json:"meta"`
		Arrays []packArray     `json:"arrays"`
	}
	if err := json.Unmarshal(b[8:8+n], &head); err != nil {
		return nil, fmt.Errorf("%w: %w", errNoPack, err)
	}
	o := &packRead{head.Meta, map[string]packArray{}, b[8+n:]}
	for _, a := range head.Arrays {
		o.arrays[a.Name] = a
	}
	return o, nil
}

// array reads the array of a name into out, which has the length and type that it must have.
func (o *packRead) array(name, kind string, out any) error {
	a, size := o.arrays[name], binary.Size(out)
	if a.Type != kind || a.At < 0 || a.At > len(o.body) || size > len(o.body)-a.At {
		return fmt.Errorf("%w: array %q", errNoPack, name)
	}
	if _, err := binary.Decode(o.body[a.At:a.At+size], binary.LittleEndian, out); err != nil {
		return fmt.Errorf("%w: array %q: %w", errNoPack, name, err)
	}
	return nil
}
