package ply

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"

	"mouldwright/internal/mesh"
)

// source gives the numbers of the body one by one. All types of PLY fit a float64 exactly.
type source interface {
	next(kind) (float64, error)
	// place fills where in the file the last number was.
	place(*mesh.ReadError)
}

type binarySource struct {
	br     *bufio.Reader
	order  binary.ByteOrder
	offset int64
	buf    [8]byte
}

func (s *binarySource) place(e *mesh.ReadError) { e.Offset, e.HasOffset = s.offset, true }

func (s *binarySource) next(k kind) (float64, error) {
	b := s.buf[:k.bytes]
	n, err := io.ReadFull(s.br, b)
	s.offset += int64(n)
	if err != nil {
		return 0, err
	}
	switch {
	case k.bytes == 8:
		return math.Float64frombits(s.order.Uint64(b)), nil
	case !k.integer:
		return float64(math.Float32frombits(s.order.Uint32(b))), nil
	}
	var u uint32
	switch k.bytes {
	case 1:
		u = uint32(b[0])
	case 2:
		u = uint32(s.order.Uint16(b))
	default:
		u = s.order.Uint32(b)
	}
	if k.signed {
		shift := 32 - 8*k.bytes
		return float64(int32(u<<shift) >> shift), nil
	}
	return float64(u), nil
}

type asciiSource struct {
	br   *bufio.Reader
	line int
	word []byte
}

func (s *asciiSource) place(e *mesh.ReadError) { e.Line = s.line }

// maxWord bounds the text of one number.
const maxWord = 512

func (s *asciiSource) next(k kind) (float64, error) {
	s.word = s.word[:0]
	for {
		c, err := s.br.ReadByte()
		if errors.Is(err, io.EOF) && len(s.word) > 0 {
			break
		}
		if err != nil {
			return 0, err
		}
		if c > ' ' {
			if s.word = append(s.word, c); len(s.word) > maxWord {
				return 0, fmt.Errorf("a number of more than %d letters", maxWord)
			}
			continue
		}
		if len(s.word) > 0 {
			if err := s.br.UnreadByte(); err != nil { // the line end counts with the next number
				return 0, err
			}
			break
		}
		if c == '\n' {
			s.line++
		}
	}
	x, err := strconv.ParseFloat(string(s.word), 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) {
		return 0, fmt.Errorf("%.40q is not a number", s.word)
	}
	if k.integer && x != math.Trunc(x) {
		return 0, fmt.Errorf("%.40q is not a whole number", s.word)
	}
	return x, nil
}
