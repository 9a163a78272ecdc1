// Package record keeps people, set-ups, lessons read, runs and sign-offs in
// SQLite. It is the only place that knows SQL, and the only one that says what
// a database error means to a person.
//
// What passes, lapses or may be signed must not live here, nor hashing: secrets
// and tokens arrive as hashes. It has no clock; every write is told when it is.
package record

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"encoding/base32"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	_ "github.com/mattn/go-sqlite3" // the driver
	"github.com/pressly/goose/v3"

	"lampwright/locales/problem"
)

//go:embed migrations/*.sql
var migrations embed.FS

// The files in the data directory.
const (
	databaseFile = "lampwright.db"
	lockFile     = "lampwright.lock"
)

// The parameters of the connections. A misspelt one is ignored by the driver,
// so check reads them back.
const (
	writerParameters = "_journal_mode=WAL&_synchronous=FULL&_foreign_keys=1&_busy_timeout=5000&_txlock=immediate&_secure_delete=1&_cache_size=-32000&_stmt_cache_size=64"
	readerParameters = "mode=ro&_query_only=1&_busy_timeout=5000&_stmt_cache_size=64"
	readers          = 4
)

// Store is the open records. It is safe for concurrent use.
type Store struct {
	lock   *os.File
	writer *sql.DB // one connection: writes wait for each other here, not in SQLite
	reader *sql.DB // cannot write

	log    log
	setups sync.Map // by id, as they are now: no other process writes here
	kiosks sync.Map // the set-up beside each, by the hash of its token

	mu        sync.Mutex
	mark      time.Time // the latest time ever given out
	persisted time.Time // the mark as it was last sent to the database
}

// Open opens the records in dir, makes them if they are not there, and brings
// them to this program's version. A second process is refused.
func Open(dir string) (_ *Store, err error) {
	defer problem.In(&err, "record.Open")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, understood(err)
	}
	s := &Store{}
	defer func() {
		if err != nil {
			s.release()
		}
	}()
	if s.lock, err = lock(filepath.Join(dir, lockFile)); err != nil {
		return nil, err
	}
	path, err := filepath.Abs(filepath.Join(dir, databaseFile))
	if err != nil {
		return nil, err
	}
	if err := ours(path); err != nil {
		return nil, err
	}
	ctx := context.Background()
	if s.writer, err = connect(path, writerParameters, 1); err != nil {
		return nil, err
	}
	if err := check(ctx, s.writer, pragma{"journal_mode", "wal"}, pragma{"synchronous", "2"},
		pragma{"foreign_keys", "1"}, pragma{"busy_timeout", "5000"}, pragma{"query_only", "0"}, pragma{"secure_delete", "1"}); err != nil {
		return nil, err
	}
	if err := migrate(ctx, s.writer); err != nil {
		return nil, err
	}
	if s.reader, err = connect(path, readerParameters, readers); err != nil {
		return nil, err
	}
	if err := check(ctx, s.reader, pragma{"query_only", "1"}, pragma{"busy_timeout", "5000"}); err != nil {
		return nil, err
	}
	if err := s.reader.QueryRowContext(ctx, `SELECT mark FROM clock`).Scan(stamp{&s.mark}); err != nil {
		return nil, understood(err)
	}
	s.persisted = s.mark
	if err := s.openLog(dir); err != nil {
		return nil, err
	}
	return s, nil
}

// Holds tells whether a folder has records.
func Holds(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, databaseFile))
	return err == nil
}

// lock takes the file that says a process has the records open. The system
// lets go of it when the process ends, however it ends.
func lock(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, understood(err)
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		err = problem.Wrap(err, problem.Unavailable, "problem.in-use")
	}
	if err != nil {
		return nil, errors.Join(understood(err), f.Close())
	}
	return f, nil
}

// ours makes the database file before SQLite would, readable by nobody else;
// and finds out whether it may be written before SQLite quietly opens it to
// read only.
func ours(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return understood(err)
	}
	return understood(f.Close())
}

// connect opens the database. The "file:" in front is what makes mode=ro hold.
func connect(path, parameters string, most int) (*sql.DB, error) {
	name := url.URL{Scheme: "file", Path: path, RawQuery: parameters}
	db, err := sql.Open("sqlite3", name.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(most)
	db.SetMaxIdleConns(most)
	return db, nil
}

type pragma struct{ name, wanted string }

// check reads pragmas back: a database that forgets what it acknowledged must
// not be opened at all.
func check(ctx context.Context, db *sql.DB, pragmas ...pragma) error {
	for _, p := range pragmas {
		var got string
		if err := db.QueryRowContext(ctx, "PRAGMA "+p.name).Scan(&got); err != nil {
			return understood(err)
		}
		if got != p.wanted {
			return fmt.Errorf("pragma %s: got %s, expected %s", p.name, got, p.wanted)
		}
	}
	return nil
}

func migrate(ctx context.Context, db *sql.DB) error {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return err
	}
	has, knows, err := p.GetVersions(ctx)
	if err != nil {
		return understood(err)
	}
	if has > knows {
		return problem.New(problem.Unavailable, "problem.newer", "Has", has, "Knows", knows)
	}
	_, err = p.Up(ctx)
	return understood(err)
}

// Close writes the clock's mark, lets SQLite tidy, and closes.
func (s *Store) Close() (err error) {
	defer problem.In(&err, "record.Close")
	s.mu.Lock()
	mark := s.mark
	s.mu.Unlock()
	s.log.turn <- struct{}{} // for good
	s.commit(s.gather())
	close(s.log.closing)
	err = s.persist(context.Background(), mark)
	_, tidy := s.writer.Exec(`PRAGMA optimize`)
	return errors.Join(err, understood(tidy), s.release())
}

// release closes what is open, the lock last.
func (s *Store) release() error {
	var errs []error
	if s.reader != nil {
		errs = append(errs, s.reader.Close())
	}
	if s.writer != nil {
		errs = append(errs, s.writer.Close())
	}
	if s.lock != nil {
		errs = append(errs, s.lock.Close())
	}
	return errors.Join(errs...)
}

// Ready says whether the database answers, without writing.
func (s *Store) Ready(ctx context.Context) (err error) {
	defer problem.In(&err, "record.Ready")
	var sites int
	return understood(s.reader.QueryRowContext(ctx, `SELECT count(*) FROM sites`).Scan(&sites))
}

// write does all of f in one transaction or, on an error, none of it.
func (s *Store) write(ctx context.Context, f func(*sql.Tx) error) error {
	tx, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return understood(err)
	}
	// What undid it matters; that a failed transaction is gone does not. After a
	// commit this does nothing; after a panic it frees the only writer.
	defer func() { _ = tx.Rollback() }()
	if err := f(tx); err != nil {
		return understood(err)
	}
	return understood(tx.Commit())
}

// change does one statement in its own transaction.
func (s *Store) change(ctx context.Context, query string, values ...any) error {
	_, err := s.writer.ExecContext(ctx, query, values...)
	return understood(err)
}

// querier is what reads: the readers, or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, values ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, values ...any) *sql.Row
}

// transaction is what reads and writes, all or nothing.
type transaction interface {
	querier
	ExecContext(ctx context.Context, query string, values ...any) (sql.Result, error)
}

// scan is sql.Row.Scan or sql.Rows.Scan.
type scan func(into ...any) error

// planned has SQLite keep the plan of a query that it has prepared. Where rows
// are joined or put in order it would plan anew each time, since a plan might
// hang on the value of a parameter; never on that of an expression.
func planned(query string) string { return strings.ReplaceAll(query, "= $", "= +$") }

// one reads the one row a query gives; key is the problem when there is none.
func one[T any](ctx context.Context, q querier, read func(scan) (T, error), key, query string, values ...any) (T, error) {
	v, err := read(q.QueryRowContext(ctx, planned(query), values...).Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return v, problem.Wrap(err, problem.Unknown, key)
	}
	return v, understood(err)
}

// all reads every row a query gives.
func all[T any](ctx context.Context, q querier, read func(scan) (T, error), query string, values ...any) (vs []T, err error) {
	err = through(ctx, q, func(scan scan) error {
		v, err := read(scan)
		if err == nil {
			vs = append(vs, v)
		}
		return err
	}, query, values...)
	return vs, err
}

// through has each row that a query gives read. It always closes them: an open
// read keeps the write-ahead log growing.
func through(ctx context.Context, q querier, read func(scan) error, query string, values ...any) (err error) {
	rows, err := q.QueryContext(ctx, planned(query), values...)
	if err != nil {
		return understood(err)
	}
	defer func() { err = errors.Join(err, understood(rows.Close())) }()
	scan := rows.Scan
	for rows.Next() {
		if err := read(scan); err != nil {
			return understood(err)
		}
	}
	return understood(rows.Err())
}

// stamp reads a time kept in UTC milliseconds; null is the zero time.
type stamp struct{ into *time.Time }

func (s stamp) Scan(v any) error {
	var ms sql.Null[int64]
	if err := ms.Scan(v); err != nil {
		return err
	}
	*s.into = time.Time{}
	if ms.Valid {
		*s.into = time.UnixMilli(ms.V).UTC()
	}
	return nil
}

// orZero reads a column that may be null; null is the zero value.
type orZero[T any] struct{ into *T }

func maybe[T any](into *T) orZero[T] { return orZero[T]{into} }

func (o orZero[T]) Scan(v any) error {
	var n sql.Null[T]
	if err := n.Scan(v); err != nil {
		return err
	}
	*o.into = n.V
	return nil
}

// orNull keeps an empty text as null, which no other null equals.
func orNull(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// ids writes bits so that the text sorts as they do.
var ids = base32.NewEncoding("234567abcdefghijklmnopqrstuvwxyz").WithPadding(base32.NoPadding)

// idsMade counts the ids of this process, from anywhere: 47 random bits, so that
// there is room above.
var idsMade atomic.Uint64

func init() {
	var b [8]byte
	rand.Read(b[:])
	idsMade.Store(binary.BigEndian.Uint64(b[:]) >> 17)
}

// NewID makes an id that nobody can guess: its last 80 bits are random. The
// first 48 count up within a process, so that what is recorded together stands
// together in every index, on few pages.
func NewID() string {
	var b [16]byte
	binary.BigEndian.PutUint64(b[:], idsMade.Add(1)<<16)
	rand.Read(b[6:]) // never fails: crypto/rand ends the process first
	return ids.EncodeToString(b[:])
}
