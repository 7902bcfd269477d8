package main

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"time"

	"prestrike/audit/safefile"
	"prestrike/exifread"
)

// A page in the cache folder is deleted after this time, when the next is written.
const pageKept = 7 * 24 * time.Hour

var pageName = regexp.MustCompile(`^[0-9a-f]{32}\.html$`)

// cachedPage returns the file in the user's cache folder for a page on these folders, in a
// folder that is there then. Each audit of the same folders writes the same file.
func cachedPage(c *console, folders []string) (string, error) {
	const instead = "name a file for the page with -o"
	if c.cacheFolder == nil {
		return "", errors.New("there is no cache folder for the page: " + instead)
	}
	base, err := c.cacheFolder()
	if err != nil {
		return "", fmt.Errorf("there is no cache folder for the page (%w): %s", err, instead)
	}
	folder := filepath.Join(base, "prestrike", "pages")
	key := sha256.New()
	for _, f := range folders {
		if safefile.Within(folder, f) {
			return "", fmt.Errorf("the cache folder %s lies in %s, where nothing is written: %s", folder, f, instead)
		}
		abs, err := filepath.Abs(f)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(key, "%q\n", abs)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return "", notWritten(folder, err, instead, instead)
	}
	deleteOld(folder, pageName, pageKept)
	return filepath.Join(folder, fmt.Sprintf("%x.html", key.Sum(nil)[:16])), nil
}

// deleteOld deletes files of our making, known by their names, that nobody wrote for so
// long. What cannot be deleted stays.
func deleteOld(folder string, ours *regexp.Regexp, kept time.Duration) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return
	}
	for _, e := range entries {
		if !ours.MatchString(e.Name()) {
			continue
		}
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() && time.Since(info.ModTime()) > kept {
			_ = os.Remove(filepath.Join(folder, e.Name()))
		}
	}
}

// openCommand is the program of the system that opens a file with what the user has set
// for its kind.
func openCommand(system, file string) []string {
	switch system {
	case "darwin":
		return []string{"open", file}
	case "windows":
		return []string{"rundll32", "url.dll,FileProtocolHandler", file}
	default:
		return []string{"xdg-open", file}
	}
}

// openingTime is how long the program may take to fail; a browser that it became may run on.
const openingTime = 3 * time.Second

// openFile opens a file in the reader's browser.
func openFile(file string) error {
	command := openCommand(runtime.GOOS, file)
	run := exec.Command(command[0], command[1:]...) // the file's path is absolute, so that it is no flag
	if err := run.Start(); err != nil {
		return err
	}
	ended := make(chan error, 1)
	go func() {
		var err error
		defer func() { ended <- err }()
		defer exifread.Recovered(&err)
		err = run.Wait()
	}()
	select {
	case err := <-ended:
		return err
	case <-time.After(openingTime):
		return nil
	}
}
