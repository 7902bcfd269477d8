package watch

import "golang.org/x/sys/windows"

// Free returns how many bytes can still be written to the disk that a folder lies on. On a
// share that does not answer it waits.
func Free(dir string) (int64, error) {
	name, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, err
	}
	var free uint64
	if err := windows.GetDiskFreeSpaceEx(name, &free, nil, nil); err != nil {
		return 0, err
	}
	return int64(free), nil
}
