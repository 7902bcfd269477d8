package copies

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"sync"

	"prestrike/exifread"
)

const (
	// A block is what is read at once: large enough that a disk with a moving
	// head spends its time on reading.
	blockBytes = 1 << 20
	// How many blocks a file may be read ahead of its hash: with two files a
	// device, 8 MiB.
	blocksAhead = 4
	// How many files of one device are hashed at the same time: a fast device
	// gives more than one processor hashes.
	filesAtOnce = 2
)

// Errors of files that cannot be relied on.
var (
	ErrChanging   = errors.New("it changed while it was read: wait until copying has ended, then run this again")
	errNotRegular = errors.New("it is no longer a regular file")
)

// A job is one file to be read.
type job struct {
	folder *Folder
	file   *File
	also   []hash.Hash // other checksums to be made of the same bytes
}

// A reader reads files, and hashes them.
type reader struct {
	journal  *journal                // keeps what is finished; nil where nothing is kept
	progress func(done, total int64) // bytes; never called from two goroutines at once

	mu          sync.Mutex // guards what follows
	done, total int64
	failed      error // of the program itself, at no file
}

// guard is deferred by goroutines: no failure of the program may end it with a status
// that means something else.
func (r *reader) guard() {
	if v := recover(); v != nil {
		err := exifread.Failure(v)
		r.mu.Lock()
		defer r.mu.Unlock()
		r.failed = errors.Join(r.failed, err)
	}
}

// read reads the files of all jobs, one device beside the other.
func (r *reader) read(ctx context.Context, jobs []job) error {
	devices := map[string][]job{}
	for _, j := range jobs {
		if j.file.Read || j.file.Err != nil {
			continue
		}
		r.total += j.file.Size
		// Where devices cannot be distinguished, all is read by one.
		devices[j.folder.Disk] = append(devices[j.folder.Disk], j)
	}
	var wg sync.WaitGroup
	for _, list := range devices {
		queue := make(chan job)
		wg.Go(func() {
			defer r.guard()
			defer close(queue)
			for _, j := range list {
				select {
				case queue <- j:
				case <-ctx.Done():
					return
				}
			}
		})
		var turn sync.Mutex
		for range filesAtOnce {
			wg.Go(func() {
				defer r.guard()
				free := newBlocks()
				for j := range queue {
					if err := r.one(ctx, j, &turn, free); err != nil {
						j.file.Read, j.file.Err = false, err
						free = newBlocks() // where the program failed, some are lost
					}
				}
			})
		}
	}
	wg.Wait()
	return cmp.Or(ctx.Err(), r.failed)
}

// newBlocks returns the blocks of one that reads, all of them free.
func newBlocks() chan []byte {
	free := make(chan []byte, blocksAhead)
	for range blocksAhead {
		free <- make([]byte, blockBytes)
	}
	return free
}

// one reads one file, and returns why it cannot be relied on. Whoever holds the turn reads from the device. It is held
// until the file is read, or until reading is so far ahead of hashing that
// another file can be read meanwhile: a slow device reads one file after the
// other.
func (r *reader) one(ctx context.Context, j job, turn *sync.Mutex, free chan []byte) (failed error) {
	defer exifread.Recovered(&failed)
	sum := sha256.New()
	var to io.Writer = sum
	if len(j.also) > 0 {
		all := []io.Writer{sum}
		for _, h := range j.also {
			all = append(all, h)
		}
		to = io.MultiWriter(all...)
	}
	read := make(chan []byte, blocksAhead)
	var hashed sync.WaitGroup
	var unhashed error
	hashed.Go(func() {
		defer func() { // the reader waits for blocks also where hashing failed
			for block := range read {
				free <- block[:cap(block)]
			}
		}()
		defer exifread.Recovered(&unhashed)
		for block := range read {
			to.Write(block) // a hash returns no error
			r.told(int64(len(block)))
			free <- block[:cap(block)]
		}
	})

	n, cached, err := inTurn(ctx, j, turn, free, read)
	hashed.Wait()
	if err == nil {
		err = unhashed
	}

	r.told(j.file.Size - n) // so that the time left is right
	if ctx.Err() != nil {
		return nil
	}
	j.file.Cached = cached
	if err != nil {
		return err
	}
	j.file.Sum = Sum(sum.Sum(nil))
	j.file.Read = true
	r.journal.add(j.folder, j.file)
	return nil
}

// inTurn reads the blocks of a file when the device is free, and closes read.
func inTurn(ctx context.Context, j job, turn *sync.Mutex, free <-chan []byte, read chan<- []byte) (n int64, cached bool, err error) {
	defer close(read)
	turn.Lock()
	defer turn.Unlock()
	defer exifread.Recovered(&err)
	return readBlocks(ctx, j, turn, free, read)
}

// readBlocks sends the blocks of a file and returns how many bytes they were,
// and whether they may have come from memory.
func readBlocks(ctx context.Context, j job, turn *sync.Mutex, free <-chan []byte, read chan<- []byte) (n int64, cached bool, err error) {
	name := j.folder.abs(j.file)
	f, err := openFile(name)
	if err != nil {
		return 0, true, plain(err)
	}
	defer f.Close() // nothing was written that could get lost
	before, err := f.Stat()
	if err != nil {
		return 0, true, plain(err)
	}
	if !before.Mode().IsRegular() {
		return 0, true, errNotRegular
	}
	if !j.file.same(name, before) {
		return 0, true, ErrChanging
	}
	cached = !fromMedium(f, j.file.Size)
	readOnce(f)
	for ctx.Err() == nil {
		var block []byte
		select {
		case block = <-free:
		default:
			turn.Unlock()
			block = <-free
			turn.Lock()
		}
		k, err := fill(f, block)
		n += int64(k)
		read <- block[:k]
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			break
		}
		if err != nil {
			return n, cached, fmt.Errorf("%w, after %d of %d bytes", plain(err), n, j.file.Size)
		}
		if n > j.file.Size { // it grows: how long is not known
			return n, cached, ErrChanging
		}
	}
	after, err := f.Stat()
	if err != nil {
		return n, cached, plain(err)
	}
	if ctx.Err() == nil && (n != j.file.Size || !j.file.same(name, after)) {
		return n, cached, ErrChanging
	}
	giveBack(f)
	return n, cached, nil
}

// same reports whether an open file is the one that was listed, and has not
// changed since.
func (file *File) same(name string, info os.FileInfo) bool {
	return info.Size() == file.Size && info.ModTime().UnixNano() == file.modified && identify(name, info) == file.id
}

func (r *reader) told(n int64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.done += n
	if r.progress != nil {
		r.progress(r.done, r.total)
	}
}
