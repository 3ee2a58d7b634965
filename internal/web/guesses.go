package web

import (
	"net/http"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// guesses counts wrong tokens, by whatever way they come: of each address, and of all together, since a
// guesser may have many addresses. An address that gave the right token lately is not held back by what
// others guess.
type guesses struct {
	each *perClient
	all  *rate.Limiter

	mu   sync.Mutex
	good map[string]time.Time // addresses that gave the right token, and when
}

const (
	// At one guess in five seconds a token of 20 characters outlives its user.
	guessesPerSecond, guessBurst = 0.2, 5
	// From all addresses together: a hundred people who mistype now and then stay under it.
	allGuessesPerSecond, allGuessBurst = 2, 100
	// goodFor is how long an address stays known for its right token.
	goodFor = cookieLife
)

func newGuesses() *guesses {
	return &guesses{each: newPerClient(guessesPerSecond, guessBurst), all: rate.NewLimiter(allGuessesPerSecond, allGuessBurst), good: map[string]time.Time{}}
}

// admission is what came of looking at a token.
type admission int

const (
	rightToken admission = iota
	wrongToken
	guessedOften // the token was not even looked at
)

// try looks at a token of a client with right. A wrong one counts as a guess; who has guessed too often is
// told so whatever the token is, since otherwise the right one would show among the wrong. One token is
// looked at at a time, so that many at once are no way round the limit.
func (g *guesses) try(r *http.Request, right func() bool) admission {
	client := clientOf(r)
	g.mu.Lock()
	defer g.mu.Unlock()
	each := g.each.of(client)
	switch {
	case each.Tokens() < 1, g.all.Tokens() < 1 && !g.knownGood(client):
		return guessedOften
	case !right():
		each.Allow()
		g.all.Allow()
		return wrongToken
	}
	if len(g.good) >= clientsKnown {
		clear(g.good)
	}
	g.good[client] = time.Now()
	return rightToken
}

// knownGood needs mu.
func (g *guesses) knownGood(client string) bool {
	at, ok := g.good[client]
	return ok && time.Since(at) < goodFor
}
