package record

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"lampwright/locales/problem"
	"lampwright/server/ledger"
)

// keyFile is the log's key in the data directory; readable by nobody else.
const keyFile = "lampwright.key"

// The kinds of entries that record rows; the row's id follows.
const (
	kindSignOff = "sign-off/"
	kindEvent   = "event/"
)

// mostAtOnce bounds how many are written in one transaction.
const mostAtOnce = 256

// log is the log as its only writer knows it.
type log struct {
	key     *ledger.Key
	broken  error // why nothing can be signed; nil when all is well
	edge    ledger.Edge
	queue   chan *logged
	turn    chan struct{} // holds one while someone appends
	last    int           // how many were in the last write
	closing chan struct{}
}

// logged is something that is to be recorded and entered in the log, all or
// nothing: do writes the rows and gives what to enter, from the entry next on. It
// may be done twice, where the first time came to nothing.
type logged struct {
	do   func(tx transaction, next int64) ([]entered, error)
	done chan error
}

// tried is what do gives; a panic is an error too, for it would be in the way of
// whoever happens to write.
func (l *logged) tried(tx transaction, next int64) (list []entered, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	return l.do(tx, next)
}

// entered is what goes into an entry.
type entered struct {
	kind   string
	at     time.Time
	record []byte
}

// openLog readies the log: makes its key where there has never been one, or
// finds that the entries are those that were signed last. Where they are not,
// everything but signing goes on.
func (s *Store) openLog(dir string) error {
	s.log = log{queue: make(chan *logged, mostAtOnce), turn: make(chan struct{}, 1), closing: make(chan struct{})}
	s.log.broken = s.readLog(context.Background(), filepath.Join(dir, keyFile))
	if s.log.broken != nil && !problem.Is(s.log.broken, problem.Unavailable) {
		return s.log.broken
	}
	return nil
}

func (s *Store) readLog(ctx context.Context, path string) (err error) {
	head, size, err := s.Head(ctx)
	fresh := problem.Is(err, problem.Unknown) && size == 0
	if err != nil && !fresh {
		return problem.Wrap(err, problem.Unavailable, "problem.log-broken")
	}
	switch _, err := os.Stat(path); {
	case err == nil && fresh: // there was a log
		return problem.New(problem.Unavailable, "problem.log-broken")
	case errors.Is(err, fs.ErrNotExist) && fresh:
		return s.begin(ctx, path)
	}
	if err := settle(path, head, size); err != nil {
		return err
	}
	if s.log.key, err = ledger.LoadKey(path); err != nil {
		return problem.Wrap(err, problem.Unavailable, "problem.log-key")
	}
	c, err := ledger.OpenCheckpoint(head, s.log.key.Verifier())
	if err == nil && c.Size != size {
		err = fmt.Errorf("%d entries, %d signed", size, c.Size)
	}
	if err == nil {
		s.log.edge, err = ledger.ReadEdge(size, s.hashes(ctx, s.reader))
	}
	if err == nil && s.log.edge.Root() != c.Root {
		err = errors.New("the entries are not those that were signed")
	}
	if err != nil {
		return problem.Wrap(err, problem.Unavailable, "problem.log-broken")
	}
	return nil
}

// settle gives a new key its name, where the log goes by it already and the
// machine stopped before that.
func settle(path string, head []byte, size int64) error {
	made, err := ledger.LoadKey(path + ".new")
	if err != nil {
		return nil // there is none, or none to go by
	}
	if _, err := ledger.OpenCheckpoint(head, made.Verifier()); err != nil {
		return nil
	}
	return understood(renamed(path, size))
}

// renamed puts the new key in the old one's place, and keeps that beside it.
func renamed(path string, size int64) error {
	err := os.Rename(path, fmt.Sprintf("%s.%d", path, size))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return os.Rename(path+".new", path)
}

// begin begins the log, with what was signed before there was one. The key
// takes its name last: a key with no log is one whose log is gone.
func (s *Store) begin(ctx context.Context, path string) (err error) {
	made := path + ".new"
	if err := os.Remove(made); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return understood(err)
	}
	if err := newKey(made, "lampwright/"+NewID()[16:]); err != nil {
		return err
	}
	if s.log.key, err = ledger.LoadKey(made); err != nil {
		return err
	}
	old, err := all(ctx, s.reader, readSignOff, `SELECT `+signOffColumns+` FROM sign_offs o ORDER BY o.signed, o.id`)
	if err != nil {
		return err
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		edge := ledger.Edge{}
		for i := range old {
			e, err := old[i].entered()
			if err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, `UPDATE sign_offs SET entry = $1 WHERE site_id = $2 AND id = $3`,
				edge.Size(), old[i].SiteID, old[i].ID); err != nil {
				return err
			}
			if edge, err = s.append(ctx, tx, edge, e); err != nil {
				return err
			}
		}
		s.log.edge = edge
		return s.sign(ctx, tx, edge)
	})
	if err != nil {
		return err
	}
	return understood(renamed(path, 0))
}

// newKey writes a new key for a log of this name, and never over another.
func newKey(path, origin string) error {
	key, err := ledger.NewKey(origin, rand.Reader)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return understood(err)
	}
	_, err = f.Write(key)
	return understood(errors.Join(err, f.Sync(), f.Close()))
}

// enter has something recorded and logged. Only one appends at a time, and takes
// along what waits: many who sign at once wait for one write to the disk, and
// whoever signs alone for nobody.
func (s *Store) enter(do func(tx transaction, next int64) ([]entered, error)) error {
	if s.log.broken != nil {
		return s.log.broken
	}
	l := &logged{do, make(chan error, 1)}
	select {
	case s.log.queue <- l:
	case <-s.log.closing:
		return problem.New(problem.Unavailable, "problem.closing")
	}
	for {
		select {
		case err := <-l.done:
			return err
		default: // or the turn might be taken for nothing
		}
		select {
		case err := <-l.done:
			return err
		case s.log.turn <- struct{}{}:
			s.lead()
		case <-s.log.closing:
			select {
			case err := <-l.done:
				return err
			default:
				return problem.New(problem.Unavailable, "problem.closing")
			}
		}
	}
}

// waitsFor is how long a write waits for as many as were in the last.
const waitsFor = 300 * time.Microsecond

// lead appends what waits, and gives up the turn. Whoever was just told of
// theirs may have more: where there were several, they are waited for, as a
// write costs little more for many than for one.
func (s *Store) lead() {
	for until := time.Now().Add(waitsFor); len(s.log.queue) < s.log.last && time.Now().Before(until); {
		runtime.Gosched()
	}
	batch := s.gather()
	s.log.last = len(batch)
	s.commit(batch)
	<-s.log.turn
}

// gather takes along what waits.
func (s *Store) gather() (batch []*logged) {
	for len(batch) < mostAtOnce {
		select {
		case l := <-s.log.queue:
			batch = append(batch, l)
		default:
			return batch
		}
	}
	return batch
}

// commit writes a batch in one transaction. Where one of them fails, which is
// rare, each has a transaction of its own, so that it takes nobody with it.
func (s *Store) commit(batch []*logged) {
	if len(batch) == 0 {
		return
	}
	err := s.together(batch)
	if err != nil && len(batch) > 1 {
		for _, l := range batch {
			l.done <- s.together([]*logged{l})
		}
		return
	}
	for _, l := range batch {
		l.done <- err
	}
}

// together writes all of a batch, or nothing of it.
func (s *Store) together(batch []*logged) error {
	ctx := context.Background() // whoever gave up waiting signed all the same
	edge := s.log.edge
	err := s.transact(ctx, func(tx transaction) error {
		for _, l := range batch {
			list, err := l.tried(tx, edge.Size())
			for _, e := range list {
				if err == nil {
					edge, err = s.append(ctx, tx, edge, e)
				}
			}
			if err != nil {
				return err
			}
		}
		if edge.Size() == s.log.edge.Size() {
			return nil // all of it was sent before
		}
		return s.sign(ctx, tx, edge)
	})
	if err == nil {
		s.log.edge = edge
	}
	return err
}

// transact is write for the log, of which much is asked: a sql.Tx has a
// goroutine watch over it, and another over each query.
func (s *Store) transact(ctx context.Context, f func(transaction) error) error {
	c, err := s.writer.Conn(ctx)
	if err != nil {
		return understood(err)
	}
	defer func() { _ = c.Close() }() // back to where it came from
	if _, err := c.ExecContext(ctx, `BEGIN IMMEDIATE`); err != nil {
		return understood(err)
	}
	done := false
	defer func() {
		if !done {
			_, _ = c.ExecContext(ctx, `ROLLBACK`)
		}
	}()
	if err := f(c); err != nil {
		return understood(err)
	}
	_, err = c.ExecContext(ctx, `COMMIT`)
	done = err == nil
	return understood(err)
}

func (s *Store) append(ctx context.Context, tx transaction, edge ledger.Edge, e entered) (ledger.Edge, error) {
	entry, next, err := edge.Append(e.kind, e.at, e.record, rand.Reader)
	if err != nil {
		return edge, err
	}
	if _, err := tx.ExecContext(ctx, `
		INSERT INTO entries (idx, kind, at, leaf, hashes, salt, record) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		entry.Index, entry.Kind, entry.At.UnixMilli(), entry.Leaf[:], entry.Hashes, entry.Salt, entry.Record); err != nil {
		return edge, err
	}
	return next, nil
}

// sign puts a new head in the place of the one before.
func (s *Store) sign(ctx context.Context, tx transaction, edge ledger.Edge, with ...*ledger.Key) error {
	head, err := s.log.key.Checkpoint(edge.Size(), edge.Root(), with...)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `
		INSERT INTO head (id, checkpoint) VALUES (1, $1) ON CONFLICT (id) DO UPDATE SET checkpoint = excluded.checkpoint`, string(head))
	return err
}

// Head is the newest checkpoint, and how many entries there are.
func (s *Store) Head(ctx context.Context) (head []byte, size int64, err error) {
	defer problem.In(&err, "record.Head")
	if err := s.reader.QueryRowContext(ctx, `SELECT count(*) FROM entries`).Scan(&size); err != nil {
		return nil, 0, understood(err)
	}
	head, err = one(ctx, s.reader, func(scan scan) (head []byte, err error) {
		err = scan(&head)
		return head, err
	}, "problem.log-broken", `SELECT checkpoint FROM head`)
	return head, size, err
}

// Verifier is the line by which strangers check what the log's key signed.
func (s *Store) Verifier() (string, error) {
	if s.log.broken != nil {
		return "", s.log.broken
	}
	return s.log.key.Verifier(), nil
}

// ChangeKey has a new key sign the log from now on: the old one signs the
// change, and both sign the first checkpoint after it. It gives the new
// verifier line. The old key's file is kept beside the new one's.
func (s *Store) ChangeKey(ctx context.Context, at time.Time) (_ string, err error) {
	defer problem.In(&err, "record.ChangeKey")
	if s.log.broken != nil {
		return "", s.log.broken
	}
	path := filepath.Join(filepath.Dir(s.lock.Name()), keyFile)
	made := path + ".new"
	if err := os.Remove(made); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", understood(err)
	}
	if err := newKey(made, s.log.key.Origin()); err != nil {
		return "", err
	}
	next, err := ledger.LoadKey(made)
	if err != nil {
		return "", err
	}
	old, edge := s.log.key, s.log.edge
	record, err := old.ChangeTo(next, edge)
	if err != nil {
		return "", err
	}
	// The old key keeps its name until the change is in the log; a machine that
	// stops in between finds the new one beside it.
	err = s.write(ctx, func(tx *sql.Tx) error {
		if edge, err = s.append(ctx, tx, edge, entered{ledger.KeyChanged, at, record}); err != nil {
			return err
		}
		s.log.key = next
		return s.sign(ctx, tx, edge, old)
	})
	if err != nil {
		s.log.key = old
		return "", err
	}
	s.log.edge = edge
	return next.Verifier(), understood(renamed(path, edge.Size()))
}

func readEntry(scan scan) (e ledger.Entry, err error) {
	var leaf []byte
	if err := scan(&e.Index, &e.Kind, stamp{&e.At}, &leaf, &e.Hashes, &e.Salt, &e.Record); err != nil {
		return e, err
	}
	copy(e.Leaf[:], leaf)
	if len(leaf) != len(e.Leaf) {
		e.Leaf = [len(e.Leaf)]byte{} // the audit names it
	}
	return e, nil
}

// selectEntry finds the entry of a sign-off; of whichever site, for ids are
// never the same.
const selectEntry = selectEntries + ` WHERE kind = $1 AND idx = (
	SELECT entry FROM sign_offs WHERE site_id IN (SELECT site_id FROM sites) AND id = $2)`

const selectEntries = `SELECT idx, kind, at, leaf, hashes, salt, record FROM entries`

// hashes reads the tree's stored hashes from the entries.
func (s *Store) hashes(ctx context.Context, q querier) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(indexes))
		for i, stored := range indexes {
			entry, at := ledger.EntryOf(stored)
			var hashes []byte
			if err := q.QueryRowContext(ctx, `SELECT hashes FROM entries WHERE idx = $1`, entry).Scan(&hashes); err != nil {
				return nil, understood(err)
			}
			if len(hashes) < (at+1)*tlog.HashSize {
				return nil, fmt.Errorf("entry %d holds %d bytes of hashes", entry, len(hashes))
			}
			copy(out[i][:], hashes[at*tlog.HashSize:])
		}
		return out, nil
	})
}

// Proof is the proof file of a sign-off: what a stranger needs to check it
// without the server.
func (s *Store) Proof(ctx context.Context, signOffID string) (_ []byte, err error) {
	defer problem.In(&err, "record.Proof")
	var proof []byte
	err = s.read(ctx, func(tx *sql.Tx) error {
		e, err := one(ctx, tx, readEntry, "problem.no-proof", selectEntry, kindSignOff+signOffID, signOffID)
		if err != nil {
			return err
		}
		if e.Record == nil {
			return problem.New(problem.Unknown, "problem.no-proof")
		}
		var head []byte
		if err := tx.QueryRowContext(ctx, `SELECT checkpoint FROM head`).Scan(&head); err != nil {
			return err
		}
		proof, err = ledger.Prove(head, s.hashes(ctx, tx), e)
		return err
	})
	return proof, err
}

// RecordHash is the SHA-256 of a sign-off's record as the log holds it.
func (s *Store) RecordHash(ctx context.Context, signOffID string) (hash [sha256.Size]byte, err error) {
	defer problem.In(&err, "record.RecordHash")
	e, err := one(ctx, s.reader, readEntry, "problem.no-proof", selectEntry, kindSignOff+signOffID, signOffID)
	if err == nil && e.Record == nil {
		err = problem.New(problem.Unknown, "problem.no-proof")
	}
	return sha256.Sum256(e.Record), err
}

// read does all of f on the records as they are at one moment.
func (s *Store) read(ctx context.Context, f func(*sql.Tx) error) error {
	tx, err := s.reader.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return understood(err)
	}
	defer func() { _ = tx.Rollback() }()
	return understood(f(tx))
}
