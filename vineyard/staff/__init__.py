"""The program staff's pages: people, keys, programs and the register of farms. No farm is opened here."""
