/* Reads a capture with libpcap and does nothing with its frames: what any program that is built on it costs at least.
   cc -O2 -o empty_loop empty_loop.c -lpcap */
#include <pcap/pcap.h>
#include <stdio.h>

static void nothing(u_char *frames, const struct pcap_pkthdr *header, const u_char *octets)
{
    (void)header;
    (void)octets;
    ++*(unsigned long long *)frames;
}

int main(int count, char **arguments)
{
    char error[PCAP_ERRBUF_SIZE];
    unsigned long long frames = 0;
    pcap_t *capture;

    if (count != 2) {
        fprintf(stderr, "empty_loop FILE\n");
        return 2;
    }
    capture = pcap_open_offline(arguments[1], error);
    if (capture == NULL) {
        fprintf(stderr, "%s\n", error);
        return 1;
    }
    if (pcap_loop(capture, -1, nothing, (u_char *)&frames) != 0) {
        fprintf(stderr, "%s\n", pcap_geterr(capture));
        return 1;
    }
    printf("%llu frames\n", frames);
    pcap_close(capture);
    return 0;
}
