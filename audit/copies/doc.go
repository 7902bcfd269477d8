// Package copies answers whether every file of a card is in each of its copies,
// byte for byte, under whatever name and in whatever folder.
//
// Files are compared by size and SHA-256 (FIPS 180-4), as a multiset: a card with
// two equal files needs two in the copy. A file with several names (hard links)
// is one file, and symbolic links are not followed, as neither adds a copy of the
// bytes. Nothing is written to the folders that are compared.
//
// What must be there: pictures, films, sound, and everything else that is neither
// a system's own nor on the short list in kind.go. A sidecar must be there too, though another version
// of it is only mentioned. Files that a camera keeps for itself, and those of
// operating systems, are not compared.
package copies
