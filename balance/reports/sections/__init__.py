"""The sections of a block's page, a module each: from the records of one block to sentences, figures and tables."""
