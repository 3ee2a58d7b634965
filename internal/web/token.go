package web

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"mouldwright/internal/atomicfile"
)

// A token is best made by the program: 128 random bits. One that somebody thought out must at least not be of
// a kind that is tried first.

const (
	// MinTokenRunes is the fewest characters of a token.
	MinTokenRunes = 20
	// minTokenBits is the least information that a token may hold, by how often its characters, and the
	// steps from one to the next, come in it. Twenty random digits hold about 60 so measured.
	minTokenBits = 48
)

// checkToken refuses a token that is short or has a plain pattern.
func checkToken(token string) error {
	runes := []rune(token)
	if len(runes) < MinTokenRunes {
		return fmt.Errorf("the token has %d characters; use at least %d, such as %s", len(runes), MinTokenRunes, suggestToken())
	}
	steps := make([]rune, len(runes)-1)
	for i := range steps {
		steps[i] = runes[i+1] - runes[i]
	}
	if min(information(runes), information(steps)) < minTokenBits || repeats(token) {
		return fmt.Errorf("the token follows a pattern that is soon guessed; let chance make it, such as %s", suggestToken())
	}
	return nil
}

// information is the entropy of a text by the counts of its own characters, in bits (Shannon 1948).
func information(text []rune) float64 {
	count := map[rune]int{}
	for _, r := range text {
		count[r]++
	}
	bits := 0.0
	for _, n := range count { // sums of whole counts alone differ by rounding with the order, far below what decides
		bits -= float64(n) * math.Log2(float64(n)/float64(len(text)))
	}
	return bits
}

// repeats says whether a text is one shorter text again and again: it then lies within its own double.
func repeats(text string) bool {
	return strings.Contains((text + text)[1:2*len(text)-1], text)
}

func suggestToken() string { return randomHex(16) }

// TokenFrom reads the token of a file. If there is no such file it is made, for its owner's eyes alone, with a
// token by chance in it.
func TokenFrom(path string) (token string, made bool, err error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		made, b = true, []byte(suggestToken())
		err = writeToken(path, b)
	}
	if err != nil {
		return "", false, fmt.Errorf("read the token: %w", err)
	}
	return strings.TrimSpace(string(b)), made, nil
}

func writeToken(path string, token []byte) error {
	if err := atomicfile.Write(path, func(w io.Writer) error { _, err := fmt.Fprintf(w, "%s\n", token); return err }); err != nil {
		return err
	}
	return os.Chmod(path, 0o600)
}
