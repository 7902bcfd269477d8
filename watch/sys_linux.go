package watch

import "golang.org/x/sys/unix"

// silentTypes are the file systems on which changes made by another machine,
// or past the kernel, cause no events.
var silentTypes = map[uint32]string{
	unix.NFS_SUPER_MAGIC:    "NFS",
	unix.SMB_SUPER_MAGIC:    "SMB",
	unix.SMB2_SUPER_MAGIC:   "SMB",
	unix.CIFS_SUPER_MAGIC:   "SMB",
	unix.FUSE_SUPER_MAGIC:   "FUSE",
	unix.V9FS_MAGIC:         "9P",
	unix.CEPH_SUPER_MAGIC:   "Ceph",
	unix.AFS_SUPER_MAGIC:    "AFS",
	unix.AFS_FS_MAGIC:       "AFS",
	unix.CODA_SUPER_MAGIC:   "Coda",
	unix.NCP_SUPER_MAGIC:    "NCP",
	unix.HOSTFS_SUPER_MAGIC: "hostfs",
	0x786f4256:              "vboxsf", // linux/fs/vboxsf/super.c
}

// silent returns the name of dir's file system if it does not send an event
// for every change, else "".
func silent(dir string) string {
	var s unix.Statfs_t
	if unix.Statfs(dir, &s) != nil {
		return "" // it cannot be read; whoever lists it will report that
	}
	return silentTypes[uint32(s.Type)]
}
