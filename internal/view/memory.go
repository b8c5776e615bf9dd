package view

import (
	"container/list"
	"sync"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// memory keeps what was read of the banks that were assessed last, so that the
// next time only what is new is read of them. Entries never change, so nothing in
// it grows wrong: an edit of the register, which may alter how they are read out
// (an erased name), makes it worthless.
type memory struct {
	mu    sync.Mutex
	room  int // for so many entries
	held  int
	banks map[plant.BankID]*list.Element
	used  *list.List // of *kept, the latest first
}

// kept is one bank as it was read.
type kept struct {
	bank    plant.BankID
	edited  int64         // newest edit of the register then
	after   int64         // entries are those with a Seq above this …
	upTo    int64         // … up to this
	entries []entry.Entry // of Bank, its AHU and its site, as Input.Entries
	last    assess.Assessment
}

// usualRoom is how many entries are kept in memory unless it is said otherwise: some
// 300 bytes each.
const usualRoom = 300_000

func newMemory(room int) *memory {
	return &memory{room: room, banks: map[plant.BankID]*list.Element{}, used: list.New()}
}

// take hands out what is kept of a bank, to nobody else until it is put back.
func (m *memory) take(bank plant.BankID) *kept {
	m.mu.Lock()
	defer m.mu.Unlock()
	e, ok := m.banks[bank]
	if !ok {
		return nil
	}
	return m.remove(e)
}

func (m *memory) remove(e *list.Element) *kept {
	k := m.used.Remove(e).(*kept)
	delete(m.banks, k.bank)
	m.held -= len(k.entries)
	return k
}

// put keeps a bank and lets go of those that were not asked for the longest.
func (m *memory) put(k *kept) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if e, ok := m.banks[k.bank]; ok {
		m.remove(e)
	}
	m.banks[k.bank] = m.used.PushFront(k)
	m.held += len(k.entries)
	for m.held > m.room && m.used.Len() > 0 {
		m.remove(m.used.Back())
	}
}
