// Package watch follows a folder that fills with files, and hands out each
// file once it is complete: a folder tree in, paths of complete files out.
//
// # What it promises
//
//   - Every file in the tree is handed out, whether it was there at the start
//     or came later, was copied slowly, renamed or hard-linked into place, or
//     arrived inside a folder that did not exist a moment before. Folders may
//     be made, renamed, removed and put back at any time, the watched folder
//     itself included.
//   - A file is complete when its size and modification time have rested for
//     the settling time, it can be opened, and the caller's check
//     ([Options.Ready]) reads it. A file that rests but does not read well is
//     inspected again after 2, 4 and 8 settling times; only then is it handed
//     out, with the error. Any growth starts the count again, so a file that
//     is still being copied is not handed out as torn. A file that reads well
//     later is handed out again, as Changed, without error.
//   - A file is handed out again only when its size or modification time
//     differs from what was handed out, or when an error has gone.
//   - A file is called removed only when its folder could be read and did not
//     hold it, for at least the settling time. A card that is pulled, a share
//     that drops, a folder that may no longer be read: that is one FolderLost,
//     and nothing is removed by it. The watch waits, says FolderBack when the
//     folder can be read again, and goes on with what has changed meanwhile.
//   - Nothing is lost when the receiver is slow. What waits is merged by path,
//     so that it never takes more room than the tree has files.
//   - Files are only opened for reading, and only once they rest.
//
// # How
//
// The operating system's events show where to inspect; what is found there decides.
// Events can be missed, so three slower inspections run in every case: every two
// seconds the watched folder, and as often as it costs little each folder in it, is
// checked for being the same one (a card mounted over a folder makes no event), every
// [Options.Scan] or later each folder is listed again, and in the same time each file's
// size and modification time are read once, of 100 files a second at most (a write
// through a memory map makes no event). When the system drops events, the whole tree is
// listed again.
//
// At rest, a tree of 50,000 files in 500 folders costs 0.08 % of a core and
// 220 bytes a file; a file is handed out about 10 ms after the
// settling time where there are events. To measure:
//
//	go test ./watch -run '^$' -bench Idle -benchtime 230x
//	go test ./watch -run '^$' -bench 'Delivery|Start' -benchtime 30x
//
// One goroutine keeps the folders and one the files, which it holds in a map
// with one timer for all. Two files are read at a time; one that takes longer than
// 2 s moves aside for the next, up to eight of them.
//
// # What is passed over
//
// Files and folders whose names [Options.Skip] names. Devices, pipes and sockets
// are no files, and never opened. A symbolic link to a file counts as that file.
// One to a folder is not entered, so no loop can arise, and is reported once, as
// Linked. The watched folder itself may be given as a symbolic link.
//
// # What cannot work everywhere
//
//   - File systems that are shared or emulated (NFS, SMB, FUSE, 9P, and any
//     other that is not local) report no change made elsewhere. They are
//     recognised on Linux, macOS, the BSDs and Windows, and listed every
//     [Options.Poll]; elsewhere every folder is. What the share's client itself
//     remembers (NFS: file sizes for 3 s or more, folders for 30 s or more)
//     delays what can be seen; each file is opened before it is handed out,
//     which makes NFS ask the server.
//   - Where the limit of watches is reached (Linux: fs.inotify.max_user_watches)
//     or of open files, the watch reports it once, as Polling, and lists the
//     folders every [Options.Poll] instead. macOS and the BSDs need one open
//     descriptor for each file of a watched folder, so trees of more than
//     8,192 files are polled there from the start.
//   - Windows holds each watched folder open: while it is watched, folders
//     above it cannot be renamed and the medium cannot be ejected in the
//     orderly way. Options.Poll avoids both.
//   - A file that is rewritten with the same size within one tick of the file
//     system's clock (FAT: 2 s) after it was handed out cannot be decided from
//     the first.
//   - A folder that disappears from a disk that stays is removed, and so are its
//     files. Only where the disk itself goes (the folder was on another device
//     than the one above it, or is the watched folder) is it lost instead. On
//     Windows devices are not distinguished, except that of the watched folder.
//   - A copy that pauses for more than eight settling times in the middle of a
//     file is handed out with its error, and again once it is complete. Without
//     Options.Ready, a copy that pauses for one settling time is handed out,
//     and again when it has grown.
package watch
