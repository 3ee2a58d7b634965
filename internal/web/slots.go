package web

import "sync"

// Slots bound the requests at work, and with them memory: more get 503 and try again. Those who are signed
// in have slots that strangers cannot take, and so has what everyone needs to get in. One address cannot take
// all that strangers have.

// standing is which slots a request may take.
type standing int

const (
	inside    standing = iota // signed in, or a server that asks for no token
	stranger                  // the page and its files, which need no token
	atTheDoor                 // asking how the server is, and signing in
	standings
)

// slotsAtOnce is how many there are of each, and slotsEach how many of them one address may hold: a browser
// opens six connections to a host, and a proxy stands for a few people.
var (
	slotsAtOnce = [standings]int{inside: 352, stranger: 128, atTheDoor: 32}
	slotsEach   = [standings]int{inside: 352, stranger: 64, atTheDoor: 16}
)

type slots struct {
	mu    sync.Mutex
	taken [standings]int
	each  [standings]map[string]int // by client
}

func newSlots() *slots {
	s := &slots{}
	for i := range s.each {
		s.each[i] = map[string]int{}
	}
	return s
}

// enter takes a slot until leave is called.
func (s *slots) enter(as standing, client string) (leave func(), ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.taken[as] >= slotsAtOnce[as] || s.each[as][client] >= slotsEach[as] {
		return nil, false
	}
	s.taken[as]++
	s.each[as][client]++
	return func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.taken[as]--
		if s.each[as][client]--; s.each[as][client] == 0 {
			delete(s.each[as], client)
		}
	}, true
}
