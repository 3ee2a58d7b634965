package web

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
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
