package server_test

import (
	"context"
	"io"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"lampwright/server"
	"lampwright/server/record"
)

func opens(dir string) error {
	m, err := server.Open(server.Config{Data: dir})
	if err == nil {
		err = m.Close()
	}
	return err
}

func TestRecordsInUse(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	wantsKey(t, opens(h.config.Data), "problem.in-use")
	h.reader(t, "en").get("/readyz").wants(t, 200)
	must(t, h.stop())
	must(t, opens(h.config.Data))
}

// TestRecordsOfANewerProgram: newer.db was made by this program and then said
// to be of version 999.
func TestRecordsOfANewerProgram(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	newer, err := os.ReadFile("testdata/newer.db")
	must(t, err)
	path := filepath.Join(dir, "lampwright.db")
	must(t, os.WriteFile(path, newer, 0o600))
	wantsKey(t, opens(dir), "problem.newer")
	wantsKey(t, opens(dir), "problem.newer")
}

func TestRecordsThatAreNone(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, "lampwright.db")
	must(t, os.WriteFile(path, []byte("this is a long enough text, and no database"), 0o600))
	wantsKey(t, opens(dir), "problem.damaged")
	got, err := os.ReadFile(path)
	must(t, err)
	if !strings.HasPrefix(string(got), "this is") {
		t.Error("the file was changed")
	}
}

func TestRecordsReadOnly(t *testing.T) {
	dir := demoDir(t)
	must(t, opens(dir))
	must(t, os.Chmod(filepath.Dir(dir), 0o755))
	must(t, os.Chmod(filepath.Join(dir, "lampwright.lock"), 0o666))
	must(t, os.Chmod(filepath.Join(dir, "lampwright.db"), 0o444))
	must(t, os.Chmod(dir, 0o777))
	if os.Geteuid() == 0 { // whom file modes do not stop
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		must(t, syscall.Setfsuid(65534))
		defer syscall.Setfsuid(0)
	}
	wantsKey(t, opens(dir), "problem.read-only")
}

// busy keeps everyone from writing the records, as a backup tool or another
// program might: it holds the lock that SQLite takes to write (byte 120 of the
// shared memory, see the file format of its write-ahead log).
func busy(t *testing.T, dir string) (free func()) { return held(t, dir, 1) }

// unreadable keeps everyone from reading them too.
func unreadable(t *testing.T, dir string) { held(t, dir, 8) }

func held(t *testing.T, dir string, locks int64) (free func()) {
	t.Helper()
	f, err := os.OpenFile(filepath.Join(dir, "lampwright.db-shm"), os.O_RDWR, 0)
	must(t, err)
	// Closing it sooner would let go of SQLite's own locks in this process.
	t.Cleanup(func() { f.Close() })
	lock := func(kind int16) {
		const setOpenFileLock = 37 // F_OFD_SETLK: unlike the usual ones, it stands against locks of the same process
		must(t, syscall.FcntlFlock(f.Fd(), setOpenFileLock, &syscall.Flock_t{Type: kind, Whence: io.SeekStart, Start: 120, Len: locks}))
	}
	lock(syscall.F_WRLCK)
	return func() { lock(syscall.F_UNLCK) }
}

func TestRecordsBusy(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		t.Parallel()
		dir := demoDir(t)
		h := serve(t, dir)
		r := h.learner(t, rowan, language)
		run := r.begin("at-home-evening", record.Practice)
		form := with(r.get(run).form(t, run+"/act"), "action", "ask-person:")
		free := busy(t, dir)
		start := time.Now()
		r.post(run+"/act", form).says(t, r.speaker(), 503, "problem.busy")
		if took := time.Since(start); took < 4*time.Second {
			t.Errorf("it waited %v only, expected about five seconds", took)
		}
		for _, path := range []string{"/", "/looks", "/stopped", "/me", run, "/readyz", "/lessons/chair-12/chain/2"} { // reading goes on: had it waited, it would have been refused too
			r.get(path).wants(t, 200)
		}
		free()
		r.post(run+"/act", form).wants(t, 303)
		if got := r.seq(run); got != 2 {
			t.Errorf("the run stands at %d, expected 2", got)
		}
	})
}

// TestStopLetsRequestsFinish: what is under way when the program is told to
// stop is done and answered; nobody new is let in.
func TestStopLetsRequestsFinish(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	h := serve(t, dir)
	r := h.learner(t, rowan, "en")
	run := r.begin("at-home-evening", record.Practice)
	form := with(r.get(run).form(t, run+"/act"), "action", "ask-person:")
	idle := h.reader(t, "en") // keeps its connection open
	free := busy(t, dir)
	slow := make(chan answer, 1)
	go func() { slow <- r.post(run+"/act", form) }()
	time.Sleep(300 * time.Millisecond)
	stopped := make(chan error, 1)
	go func() { stopped <- h.stop() }()
	time.Sleep(300 * time.Millisecond)
	if _, err := net.DialTimeout("tcp", idle.h.host(), time.Second); err == nil {
		t.Error("someone new was let in")
	}
	free()
	if a := <-slow; a.status != 303 {
		t.Errorf("the request under way got %d: %s", a.status, wordsOf(a.body))
	}
	must(t, <-stopped)
	withRecords(t, dir, func(s *record.Store) {
		kept, err := s.Run(context.Background(), server.SiteID, strings.TrimPrefix(run, "/runs/"))
		must(t, err)
		if len(kept.Steps) != 1 {
			t.Errorf("kept %d steps", len(kept.Steps))
		}
	})
}
