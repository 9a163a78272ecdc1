// Package ledger is a tamper-evident log: a Merkle tree over salted entries
// (RFC 6962 hashes), signed checkpoints (C2SP tlog-checkpoint), proof files
// (C2SP tlog-proof), and an audit that names what was changed. It is pure: who
// keeps the entries keeps them in the same transaction as what they record. No
// SQL lives here, no clock and no random source; the only file read is the key.
//
// # What it promises
//
// Whoever changes, removes, reorders, inserts or forges an entry without the
// log's key is found by [Audit], which names the entry; only where the log was
// made anew from some entry on does it say no more than that. Whoever holds a proof
// file and the log's verifier line can tell what was recorded, when, and that it
// stood in the log, without the server, by [VerifyProof]. Whoever holds an
// earlier checkpoint can tell whether the log still contains all that it
// contained then: by [Audit], or by [CheckConsistency] without seeing entries.
//
// # What it cannot promise
//
// Whoever holds the key and the database can write another history and sign it,
// or put back an old copy with its own old checkpoint, and nothing inside the
// house will show it. So checkpoints must leave the house: printed on
// certificates, downloaded, in proof files, cosigned elsewhere. One that is
// outside, given to [Audit], shows both. An entry says what was recorded, not
// that it was true. And a key that was stolen signs until it is changed: after
// that, pin the new one.
//
// # The leaf
//
// Integers are 8 bytes, big-endian; lengths go before what they measure.
//
//	body = SHA-256("lampwright body 1\n" ‖ len(salt) ‖ salt ‖ len(record) ‖ record)
//	leaf = SHA-256("lampwright leaf 1\n" ‖ index ‖ at, Unix ms ‖ len(kind) ‖ kind ‖ body)
//
// The tree is over the leaves: its hash of one is SHA-256(0x00 ‖ leaf). The
// index is in the leaf, so that two entries that changed places are both named.
//
// # Erasure
//
// To erase, salt and record are deleted, and an entry of kind [Erased] gives the
// bodies ([ErasedRecord]). Kind, time and place of what was erased can still be
// checked; what it said cannot be guessed without the salt; and the proof files
// that someone already holds still verify.
//
// # Change of key
//
// An entry of kind [KeyChanged] holds a note that the old key and the new one
// both signed ([Key.ChangeTo]), over the log as it stood. From there on the new
// key signs; the first checkpoint is signed by both. Someone who pinned any
// key of the chain can audit the log; a proof file alone must be signed by a key
// that is pinned.
package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/bits"
	"regexp"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"lampwright/locales/problem"
)

// The kinds that mean something to the log itself.
const (
	Erased     = "erased"      // its record names the entries erased, see ErasedRecord
	KeyChanged = "key-changed" // its record names the new key, see Key.ChangeTo
)

// MaxRecord is the longest record: its proof file must stay readable, and
// readers of the format take lines of 64 KiB.
const MaxRecord = 32 << 10

const (
	saltSize = 32
	maxKind  = 64
)

// Entry is one entry of the log as it is stored.
type Entry struct {
	Index  int64
	Kind   string    // what it records; opaque here, except Erased and KeyChanged
	At     time.Time // UTC, whole milliseconds
	Leaf   [sha256.Size]byte
	Hashes []byte // what appending it added to the tree, see HashesOf
	Salt   []byte // nil once erased
	Record []byte // nil once erased
}

// held reports whether nothing of the entry was erased.
func (e Entry) held() bool { return len(e.Salt) > 0 && len(e.Record) > 0 }

// says reports whether the leaf is that of what the entry holds.
func (e Entry) says() bool {
	return e.held() && e.Leaf == leafOf(e.Index, e.Kind, e.At, bodyOf(e.Salt, e.Record))
}

func bodyOf(salt, record []byte) [sha256.Size]byte {
	b := make([]byte, 0, 64+len(salt)+len(record))
	b = append(b, "lampwright body 1\n"...)
	b = binary.BigEndian.AppendUint64(b, uint64(len(salt)))
	b = append(b, salt...)
	b = binary.BigEndian.AppendUint64(b, uint64(len(record)))
	b = append(b, record...)
	return sha256.Sum256(b)
}

func leafOf(index int64, kind string, at time.Time, body [sha256.Size]byte) [sha256.Size]byte {
	b := make([]byte, 0, 128)
	b = append(b, "lampwright leaf 1\n"...)
	b = binary.BigEndian.AppendUint64(b, uint64(index))
	b = binary.BigEndian.AppendUint64(b, uint64(at.UnixMilli()))
	b = binary.BigEndian.AppendUint64(b, uint64(len(kind)))
	b = append(b, kind...)
	b = append(b, body[:]...)
	return sha256.Sum256(b)
}

// HashesOf says which stored hashes of the tree (as tlog numbers them) an
// entry's Hashes hold: count of them, from first on.
func HashesOf(index int64) (first, count int64) {
	return tlog.StoredHashIndex(0, index), int64(bits.TrailingZeros64(^uint64(index))) + 1
}

// EntryOf says where a stored hash of the tree is kept: the at'th of the entry's
// Hashes. It is the inverse of HashesOf.
func EntryOf(stored int64) (index int64, at int) {
	level, n := tlog.SplitStoredHashIndex(stored)
	return (n+1)<<level - 1, level
}

// Edge is the right edge of the tree, all that appending needs. It never
// changes; the zero value is the edge of the empty log.
type Edge struct {
	size   int64
	hashes []tlog.Hash // of the whole subtrees, the largest first: one for each bit of size
}

// ReadEdge reads the edge of a log of this size. Compare its root with the
// newest checkpoint's before appending to it.
func ReadEdge(size int64, r tlog.HashReader) (_ Edge, err error) {
	defer problem.In(&err, "ledger.ReadEdge")
	if size < 0 {
		return Edge{}, fmt.Errorf("a log of %d entries", size)
	}
	if size == 0 {
		return Edge{}, nil
	}
	var indexes []int64
	for level := bits.Len64(uint64(size)) - 1; level >= 0; level-- {
		if n := size >> level; n&1 != 0 {
			indexes = append(indexes, tlog.StoredHashIndex(level, n-1))
		}
	}
	hashes, err := r.ReadHashes(indexes)
	if err != nil {
		return Edge{}, err
	}
	if len(hashes) != len(indexes) {
		return Edge{}, fmt.Errorf("%d hashes read, not %d", len(hashes), len(indexes))
	}
	return Edge{size, hashes}, nil
}

// Size is the number of entries.
func (e Edge) Size() int64 { return e.size }

// Root is the hash of the whole tree.
func (e Edge) Root() tlog.Hash {
	last := len(e.hashes) - 1
	if last < 0 {
		return sha256.Sum256(nil)
	}
	root := e.hashes[last]
	for i := last - 1; i >= 0; i-- {
		root = tlog.NodeHash(e.hashes[i], root)
	}
	return root
}

// Append makes the next entry and the edge after it, and keeps neither: the
// caller takes the new edge once its transaction committed. The random source
// (crypto/rand outside tests) gives the salt.
func (e Edge) Append(kind string, at time.Time, record []byte, random io.Reader) (_ Entry, _ Edge, err error) {
	defer problem.In(&err, "ledger.Append")
	at = time.UnixMilli(at.UnixMilli()).UTC()
	if err := e.mayAppend(kind, at, record); err != nil {
		return Entry{}, Edge{}, err
	}
	salt := make([]byte, saltSize)
	if _, err := io.ReadFull(random, salt); err != nil {
		return Entry{}, Edge{}, fmt.Errorf("the random source: %w", err)
	}
	leaf := leafOf(e.size, kind, at, bodyOf(salt, record))
	next, hashes := e.push(tlog.RecordHash(leaf[:]))
	return Entry{Index: e.size, Kind: kind, At: at, Leaf: leaf, Hashes: hashes, Salt: salt, Record: record}, next, nil
}

// mayAppend refuses what Audit would find or a proof file could not say.
func (e Edge) mayAppend(kind string, at time.Time, record []byte) error {
	switch {
	case !validKind(kind):
		return fmt.Errorf("kind %q", kind)
	case at.Year() < 1 || at.Year() > 9999:
		return fmt.Errorf("time %v", at)
	case len(record) == 0 || len(record) > MaxRecord:
		return fmt.Errorf("a record of %d bytes", len(record))
	case kind == Erased:
		erased, err := readErased(record)
		if err != nil {
			return err
		}
		if last := erased[len(erased)-1].Index; last >= e.size {
			return fmt.Errorf("entry %d is not there to be erased", last)
		}
	case kind == KeyChanged:
		c, err := readChange(record)
		if err != nil {
			return err
		}
		if c.size != e.size || c.root != e.Root() {
			return errors.New("a change of key that was signed over another log")
		}
	}
	return nil
}

// kinds are words, then a slash and an id where one thing of that kind is meant.
var kinds = regexp.MustCompile(`^[a-z]+(-[a-z]+)*(/[a-z0-9]+(-[a-z0-9]+)*)?$`)

func validKind(kind string) bool { return len(kind) <= maxKind && kinds.MatchString(kind) }

// push adds a leaf's hash and returns what must be stored: it, and the hash of
// every subtree that it completes.
func (e Edge) push(h tlog.Hash) (Edge, []byte) {
	left := e.hashes
	stored := append(make([]byte, 0, 2*tlog.HashSize), h[:]...)
	for n := e.size; n&1 != 0; n >>= 1 {
		h = tlog.NodeHash(left[len(left)-1], h)
		left = left[:len(left)-1]
		stored = append(stored, h[:]...)
	}
	hashes := append(append(make([]tlog.Hash, 0, len(left)+1), left...), h)
	return Edge{e.size + 1, hashes}, stored
}
