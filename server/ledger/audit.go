package ledger

import (
	"cmp"
	"errors"
	"iter"
	"math"
	"math/bits"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	"lampwright/locales/problem"
)

// Flaw is what is wrong with an entry or with the log.
type Flaw string

// The flaws of an entry.
const (
	Altered      Flaw = "altered"    // it does not hold what its leaf says
	HashesWrong  Flaw = "hashes"     // its stored hashes do not follow from the leaves
	Missing      Flaw = "missing"    // it was deleted
	OutOfOrder   Flaw = "order"      // it stands a second time, or in another's place
	Extra        Flaw = "extra"      // it stands behind the end that was signed
	Removed      Flaw = "removed"    // salt or record is gone, and no entry says erased
	StillHeld    Flaw = "held"       // said to be erased, and still there
	ErasureWrong Flaw = "erasure"    // an erasure that cannot be one
	ChangeWrong  Flaw = "key-change" // a change of key that the key before did not sign
)

// The flaws of the log as a whole.
const (
	HeadMissing    Flaw = "head-missing"    // there is no newest checkpoint
	HeadUnreadable Flaw = "head-unreadable" // it is no checkpoint
	HeadFalse      Flaw = "head-false"      // its signature is not over what it says
	KeyUnknown     Flaw = "key-unknown"     // no key that was pinned leads to the one that signed it
	KeyRetired     Flaw = "key-retired"     // a key signed it that had been changed before
	RootWrong      Flaw = "root"            // the entries are not those that were signed
	RolledBack     Flaw = "rolled-back"     // the outside checkpoint is of a longer log
	Forked         Flaw = "forked"          // the outside checkpoint is of other entries
	OutsideFalse   Flaw = "outside-false"   // no key that is pinned or known to this log signed the outside checkpoint
)

// Key is the flaw's message; it may name the Index.
func (f Flaw) Key() string { return "ledger.flaw." + string(f) }

// Finding is one flaw; Index is -1 where it is the log's as a whole.
type Finding struct {
	Index int64
	What  Flaw
}

// mostMissing bounds how many entries of one gap are named.
const mostMissing = 10_000

// Audit walks the whole log and names what is wrong with it, by index. Entries
// come in the order of their index; head is the newest checkpoint, as Key signed
// it; verifiers are the lines that the reader pinned: any key of the chain of
// changes. outside is a checkpoint that was kept elsewhere, or empty: without
// it, a log put back with its own old head is a good log. An error means that
// there was no audit.
func Audit(entries iter.Seq2[Entry, error], head []byte, verifiers []string, outside []byte) (_ []Finding, err error) {
	defer problem.In(&err, "ledger.Audit")
	pinned, err := readVerifiers(verifiers)
	if err != nil {
		return nil, err
	}
	w := walk{end: math.MaxInt64, gone: map[int64]Entry{}, erased: map[int64]bool{}}
	signed, headErr := readCheckpoint(head)
	if headErr == nil {
		w.end = signed.Size
	}
	w.marks = append(w.marks, &mark{size: w.end})
	var kept Checkpoint
	if len(outside) > 0 {
		if kept, err = readCheckpoint(outside); err != nil {
			return nil, problem.Wrap(err, problem.Invalid, "ledger.checkpoint-unreadable")
		}
		w.marks = append(w.marks, &mark{size: kept.Size})
	}

	w.pass()
	for e, err := range entries {
		if err != nil {
			return nil, err
		}
		w.entry(e)
	}
	w.close(headErr == nil)

	known := slices.Concat(pinned, w.chain)
	switch {
	case len(head) == 0:
		w.find(-1, HeadMissing)
	case headErr != nil:
		w.find(-1, HeadUnreadable)
	default:
		if flaw := w.signer(head, pinned, known); flaw != "" {
			w.find(-1, flaw)
		}
		if m := w.marks[0]; m.root.known && m.root.hash != signed.Root {
			w.find(-1, RootWrong)
		}
	}
	if len(outside) > 0 {
		_, err := open(outside, known)
		switch m := w.marks[1]; {
		case err != nil || headErr == nil && kept.Origin != signed.Origin:
			w.find(-1, OutsideFalse)
		case kept.Size > w.size || headErr == nil && kept.Size > signed.Size:
			w.find(-1, RolledBack)
		case m.root.known && m.root.hash != kept.Root:
			w.find(-1, Forked)
		}
	}
	slices.SortStableFunc(w.found, func(a, b Finding) int { return cmp.Compare(a.Index, b.Index) })
	return w.found, nil
}

// node is a hash of the tree; after an entry that is missing some are not known.
type node struct {
	hash  tlog.Hash
	known bool
}

// mark is a size at which the root is wanted.
type mark struct {
	size int64
	root node
}

// gap is a run of missing entries, up to before to.
type gap struct{ from, to int64 }

// walk is an audit on its way through the entries.
type walk struct {
	size   int64  // entries passed
	edge   []node // as Edge has it
	end    int64  // the size that was signed
	marks  []*mark
	gaps   []gap
	gone   map[int64]Entry // no longer held, and not yet said to be erased
	erased map[int64]bool
	chain  []verifier // the keys of the log, oldest first; empty until one changed
	found  []Finding
}

func (w *walk) find(index int64, what Flaw) { w.found = append(w.found, Finding{index, what}) }

func (w *walk) entry(e Entry) {
	switch {
	case e.Index < 0:
		w.find(w.size, OutOfOrder)
		return
	case e.Index < w.size:
		w.find(e.Index, OutOfOrder)
		return
	case e.Index > w.size && e.Index >= w.end:
		w.find(e.Index, Extra)
		return
	case e.Index > w.size:
		w.skip(e.Index)
	case e.Index >= w.end:
		w.find(e.Index, Extra)
	}

	says := e.says()
	switch {
	case !e.held():
		w.gone[e.Index] = Entry{Index: e.Index, Kind: e.Kind, At: e.At, Leaf: e.Leaf, Salt: e.Salt, Record: e.Record}
	case !says:
		w.find(e.Index, Altered)
	}
	if e.Index < w.end { // what was never signed decides nothing
		switch e.Kind {
		case Erased:
			w.erasure(e, says)
		case KeyChanged:
			w.change(e)
		}
	}
	if !w.push(e, says) {
		w.find(e.Index, HashesWrong)
	}
	w.pass()
}

// skip goes on behind missing entries: of the tree, only what stands whole
// before them is still known.
func (w *walk) skip(to int64) {
	for i := w.size; i < min(to, w.size+mostMissing); i++ {
		w.find(i, Missing)
	}
	w.gaps = append(w.gaps, gap{w.size, to})
	differ := bits.Len64(uint64(w.size ^ to)) // the subtrees above are the same
	same := bits.OnesCount64(uint64(to) >> differ)
	w.edge = append(w.edge[:same:same], make([]node, bits.OnesCount64(uint64(to))-same)...)
	w.size = to
}

// push adds an entry to the tree and reports whether its stored hashes are those
// that follow. Where the leaves do not tell, the stored hash is taken: whether
// it was right shows in the root.
func (w *walk) push(e Entry, says bool) (good bool) {
	_, count := HashesOf(e.Index)
	stored := make([]tlog.Hash, 0, 2)
	good = int64(len(e.Hashes)) == count*tlog.HashSize
	if good {
		for h := range slices.Chunk(e.Hashes, tlog.HashSize) {
			stored = append(stored, tlog.Hash(h))
		}
	}
	h := node{tlog.RecordHash(e.Leaf[:]), true}
	if good && stored[0] != h.hash {
		said := leafOf(e.Index, e.Kind, e.At, bodyOf(e.Salt, e.Record))
		switch {
		case says: // the leaf is right
			good = false
		case e.held() && stored[0] == tlog.RecordHash(said[:]): // the leaf was changed, which is found already
			h.hash = stored[0]
		default:
			h, good = node{}, false
		}
	}
	for level := 1; w.size>>(level-1)&1 != 0; level++ {
		left := w.edge[len(w.edge)-1]
		w.edge = w.edge[:len(w.edge)-1]
		h = node{tlog.NodeHash(left.hash, h.hash), left.known && h.known}
		switch {
		case level >= len(stored):
		case !h.known:
			h = node{stored[level], true}
		case h.hash != stored[level]:
			good = false
		}
	}
	w.edge = append(w.edge, h)
	w.size++
	return good
}

// pass takes the root where it is wanted.
func (w *walk) pass() {
	for _, m := range w.marks {
		if m.size == w.size {
			m.root = w.root()
		}
	}
}

func (w *walk) root() node {
	e := Edge{size: w.size}
	for _, n := range w.edge {
		if !n.known {
			return node{}
		}
		e.hashes = append(e.hashes, n.hash)
	}
	return node{e.Root(), true}
}

// erasure settles what an Erased entry says. One that is not what was appended
// settles nothing.
func (w *walk) erasure(e Entry, says bool) {
	if !says {
		return
	}
	named, err := readErased(e.Record)
	if err != nil {
		w.find(e.Index, ErasureWrong)
		return
	}
	for _, n := range named {
		g, ok := w.gone[n.Index]
		switch {
		case n.Index >= e.Index || w.erased[n.Index] || ok && (g.Kind == Erased || g.Kind == KeyChanged):
			w.find(e.Index, ErasureWrong)
			continue
		case ok && g.Leaf != leafOf(g.Index, g.Kind, g.At, [32]byte(n.Body)):
			w.find(n.Index, Altered)
		case !ok && slices.ContainsFunc(w.gaps, func(g gap) bool { return g.from <= n.Index && n.Index < g.to }):
			continue
		}
		if !ok || len(g.Salt) > 0 || len(g.Record) > 0 {
			w.find(n.Index, StillHeld)
		}
		w.erased[n.Index] = true
		delete(w.gone, n.Index)
	}
}

// change takes the new key, if the one before signed for it over this log. The
// signatures tell, whatever else was done to the entry.
func (w *walk) change(e Entry) {
	c, err := readChange(e.Record)
	root := w.root()
	switch last := len(w.chain) - 1; {
	case err != nil, c.size != e.Index, root.known && c.root != root.hash, last >= 0 && c.from.line != w.chain[last].line:
		w.find(e.Index, ChangeWrong)
	case last < 0:
		w.chain = []verifier{c.from, c.to}
	default:
		w.chain = append(w.chain, c.to)
	}
}

// close finds what did not come until the end.
func (w *walk) close(signed bool) {
	if signed && w.size < w.end {
		w.skip(w.end)
	}
	for index := range w.gone {
		w.find(index, Removed)
	}
}

// signer says what is wrong with who signed the head. The newest key must have,
// and one that was pinned must lead to it: each key of the chain signed for the next.
func (w *walk) signer(head []byte, pinned, known []verifier) Flaw {
	c, err := open(head, known)
	var p *problem.Problem
	if errors.As(err, &p) && p.Key == "ledger.key-unknown" {
		return KeyUnknown
	}
	if err != nil {
		return HeadFalse
	}
	if len(c.Unknown) > 0 {
		return KeyUnknown
	}
	if len(w.chain) == 0 {
		return "" // one that was pinned signed it
	}
	newest := w.chain[len(w.chain)-1]
	trusted := slices.ContainsFunc(w.chain, func(v verifier) bool {
		return slices.ContainsFunc(pinned, func(p verifier) bool { return p.line == v.line })
	})
	switch {
	case !trusted:
		return KeyUnknown
	case !slices.Contains(c.Keys, keyID(newest.Name(), newest.KeyHash())):
		return KeyRetired
	}
	return ""
}
