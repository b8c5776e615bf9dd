package slack

import "sync"

// recent remembers the last keys added, forgetting the oldest.
type recent struct {
	mu   sync.Mutex
	keys map[string]struct{}
	ring []string
	next int
}

func newRecent(size int) *recent {
	return &recent{keys: make(map[string]struct{}, size), ring: make([]string, size)}
}

func (r *recent) has(key string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	_, ok := r.keys[key]
	return ok
}

func (r *recent) add(key string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, ok := r.keys[key]; ok {
		return
	}
	delete(r.keys, r.ring[r.next])
	r.ring[r.next] = key
	r.keys[key] = struct{}{}
	r.next = (r.next + 1) % len(r.ring)
}
