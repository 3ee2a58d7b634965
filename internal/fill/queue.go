package fill

// queue is a binary heap of values that know their order; container/heap would box every one of them.
type queue[T interface{ Before(T) bool }] []T

func (q *queue[T]) push(x T) {
	h := append(*q, x)
	i := len(h) - 1
	for i > 0 {
		up := (i - 1) / 2
		if !x.Before(h[up]) {
			break
		}
		h[i] = h[up]
		i = up
	}
	h[i] = x
	*q = h
}

func (q *queue[T]) pop() T {
	h := *q
	first, last := h[0], h[len(h)-1]
	h = h[:len(h)-1]
	*q = h
	if len(h) == 0 {
		return first
	}
	i := 0
	for {
		down := 2*i + 1
		if down >= len(h) {
			break
		}
		if down+1 < len(h) && h[down+1].Before(h[down]) {
			down++
		}
		if !h[down].Before(last) {
			break
		}
		h[i] = h[down]
		i = down
	}
	h[i] = last
	return first
}
