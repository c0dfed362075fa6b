/* Older wines (8.0 in Debian 12) have no bcryptprimitives.dll, of which the Go runtime
   takes one function: random bytes. This is that function by another one, for trying the
   Windows program under wine; it goes into no release. */
#include <windows.h>

BOOLEAN NTAPI SystemFunction036(PVOID, ULONG); /* RtlGenRandom in advapi32 */

__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE bytes, SIZE_T n)
{
	return SystemFunction036(bytes, (ULONG)n);
}
