package main

import "golang.org/x/sys/unix"

// mknod makes a device of characters.
func mknod(name string, major, minor uint64) error {
	return unix.Mknod(name, unix.S_IFCHR|0o666, int(unix.Mkdev(uint32(major), uint32(minor))))
}
